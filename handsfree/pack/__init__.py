"""One file with all that a device without a network needs, and setting it up there."""
