"""The tables of all refrigerants, made again by the property library that is installed.

Run:  python -m workbook.refrigerants
"""

from __future__ import annotations

import sys
from pathlib import Path

from startkit.science import refrigerant_equations, refrigerant_tables
from startkit.science.refrigerant_data import TABLE


def main(folder: Path) -> int:
    """Write one file for each refrigerant."""
    for refrigerant in TABLE:
        made = refrigerant_equations.table(refrigerant)
        (folder / refrigerant_tables.file_of(refrigerant.name)).write_bytes(
            refrigerant_tables.to_bytes(made)
        )
        print(f"{refrigerant.name}: {made.made_with}")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(refrigerant_tables.FOLDER)))
