"""The pack: one file with all that a device without a network needs, and the means to set it up there."""
