"""Kept sound heard again by the present recogniser, on the cores of a machine or on a cluster."""
