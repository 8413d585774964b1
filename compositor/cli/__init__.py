"""See the one-line map in :mod:`compositor`."""
