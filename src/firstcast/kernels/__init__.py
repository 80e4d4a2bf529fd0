"""The compiled loops and nothing else: raw arrays in, raw arrays out.

A kernel does not raise, print or open anything; the function that calls it has checked its
arrays. Kernels are declared with `kernel` (see `firstcast.compiling`).
"""
