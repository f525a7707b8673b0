"""Stand-by: waits for a visit to be started by voice, and returns to it after a crash or a loss of power."""
