"""Casting tolerance grades of ISO 8062-3:2007, table 2 (a 2023 edition exists)."""

from firstcast.errors import InputError
from firstcast.process.figures import read_data


def casting_tolerance_mm(length_mm: float, grade: int) -> float:
    """Total tolerance of a linear dimension in grade DCTG `grade`, half of it to each side.

    Raises
    ------
    InputError
        The length is not above 0 and up to 160 mm, or the grade not 1 to 10.
    """
    rows = read_data("tolerance_grades")["row"]
    if grade != int(grade) or not 1 <= grade <= len(rows[0]["total_mm"]):
        raise InputError(
            f"grade {grade} is not in the table",
            where="DCTG",
            mend=f"Give a grade from 1 to {len(rows[0]['total_mm'])}.",
        )
    if length_mm > 0:
        for row in rows:
            if length_mm <= row["up_to_mm"]:
                return float(row["total_mm"][int(grade) - 1])
    raise InputError(
        f"{length_mm:g} mm is outside the table",
        where="DCTG",
        mend=f"The table holds lengths above 0 and up to {rows[-1]['up_to_mm']} mm.",
    )
