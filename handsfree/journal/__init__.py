"""What happened in a visit: events, writing, reading, verifying, replaying, exporting."""
