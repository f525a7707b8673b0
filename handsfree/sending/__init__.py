"""The device's side of sending to the desk: a queue of visits on its disk, and the line over which they go."""
