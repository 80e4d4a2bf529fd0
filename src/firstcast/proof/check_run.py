"""The proof of a run: its layer images, STL and 3MF read back and held against each other and the job."""

from pathlib import Path

from firstcast.proof.check_run_layers import layer_rows
from firstcast.proof.check_run_manifest import manifest_rows
from firstcast.proof.check_run_meshes import master_rows, package_rows, props_name, shape_of, stl_rows
from firstcast.proof.check_run_slices import slice_rows
from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.layer_images import LayerFile
from firstcast.proof.layer_pixels import cuts_of
from firstcast.proof.rows import ProofRow
from firstcast.proof.run_package import read_run_package

SAMPLES = 16
"""Layers whose every region is measured against polygons of a general library; all else is read in all."""


def prove_run(
    zip_path: Path | str,
    stl_path: Path | str,
    threemf_path: Path | str,
    expected: ExpectedRun,
    *,
    samples: int = SAMPLES,
) -> tuple[ProofRow, ...]:
    """Measure a run's written files.

    Parameters
    ----------
    zip_path, stl_path, threemf_path : path
        Layer images with their manifest; all that stands on the platform as STL; each master once as 3MF, its props in
        an object of their own named "MASTER props".
    expected : ExpectedRun
    samples : int
        Layers, spread evenly, in which every single region's area is measured.

    Raises
    ------
    FileError
        A file can't be read, or is not what its name says.

    Notes
    -----
    The 3MF's meshes are held against the masters, its slices and the STL against its meshes, and every pixel of the images
    against what the meshes cover of it: within half a level, as levels are rounded, and sums of shares. So no pixel is grey but
    where an outline passes it, and a layer's area differs from its section's by the outline's length in pixels over 255 at most:
    an outline of L pixels crosses √2 L borders of pixels at most, so that it passes no more pixels than that and one, of which
    each is off by 1/510.
    """
    package = read_run_package(threemf_path)
    cuts = {
        name: cuts_of(entry.points, entry.triangles, expected.layer_mm, expected.layer_count)
        for name, entry in package.objects.items()
    }
    rows = [
        *package_rows(package, expected),
        *master_rows(package, expected),
        *slice_rows(package, cuts, expected),
        *stl_rows(stl_path, package),
    ]
    images = LayerFile(zip_path)
    try:
        rows += manifest_rows(images, expected)
        if len(images.names) != expected.layer_count:
            return tuple(rows)
        standing = dict.fromkeys(each.master for each in expected.standing)
        shapes = {name: shape_of(package, name, expected) for name in standing}
        drawn = {
            name: tuple(cuts[part] for part in (name, props_name(name)) if part in cuts) for name in standing
        }
        rows += layer_rows(images, drawn, shapes, expected, samples)
    finally:
        images.close()
    return tuple(rows)
