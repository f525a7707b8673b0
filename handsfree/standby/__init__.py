"""Waiting for a visit to be started by voice, and coming back to it after a crash or a loss of power."""
