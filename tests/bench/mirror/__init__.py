"""A cabinet that believes what the procedures believe: for what to check next, and for walks through whole visits."""
