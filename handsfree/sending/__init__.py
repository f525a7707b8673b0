"""The device's side of the desk: a queue of visits on its disk, and the line by which they go."""
