"""Independent measurement of the files that were written.

Shares no code with `kernels`, `fields`, `stations` or `geometry`: a proof that shares the code it checks
proves nothing.

1. `prove_piece` reads a piece's STL and 3MF back and measures them against an `Expected`.
2. `write_proof` keeps what it found beside the files, with a digest of each.
3. `check_digests` tells later whether any of them changed; `table_text` shows a proof to a person.
"""

from firstcast.proof.expected import Ball, Box, Expected, PartShape
from firstcast.proof.piece import prove_piece
from firstcast.proof.record import check_digests, digest_folder, read_proof, table_text, write_proof
from firstcast.proof.rows import PieceProof, ProofRow

__all__ = [
    "Ball",
    "Box",
    "Expected",
    "PartShape",
    "PieceProof",
    "ProofRow",
    "check_digests",
    "digest_folder",
    "prove_piece",
    "read_proof",
    "table_text",
    "write_proof",
]
