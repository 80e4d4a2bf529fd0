"""Meshes, search trees, exact solid work and zones: numpy functions over `firstcast.kernels`."""
