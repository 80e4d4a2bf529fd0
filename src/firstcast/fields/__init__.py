"""Signed distance fields: build, sample, combine, redistance, measure, contour.

The near field is a sparse set of bricks (fine pitch, narrow band); the far field is dense and
coarse. Distances are negative inside. Values sit at lattice points: origin + pitch · (i, j, k).
"""
