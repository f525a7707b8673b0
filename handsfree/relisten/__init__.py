"""Hears kept sound again with the present recogniser, on the cores of a machine or on a cluster."""
