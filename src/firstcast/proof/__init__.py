"""Independent measurement of the files that were written.

Shares no code with `kernels`, `fields`, `stations` or `geometry`: a proof that shares the code it checks
proves nothing.
"""
