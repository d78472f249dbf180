# SPDX-License-Identifier: MIT
"""Runs every benchmark of this folder, one after the other: `python tests/bench/run.py [name …]`.

Each prints ratios against a limit that it measures in the same run, since the machine's speed is
whatever it is today.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


def main() -> int:
    """Run the named benchmarks, or all; 1 if one of them failed."""
    wanted = set(sys.argv[1:])
    failed = 0
    for script in sorted(HERE.glob("*.py")):
        if script.name == Path(__file__).name or (wanted and script.stem not in wanted):
            continue
        first = (script.read_text(encoding="utf-8").split('"""')[1]).strip().splitlines()[0]
        print(f"\n== {script.stem}: {first}", flush=True)
        failed |= subprocess.run([sys.executable, "-P", str(script)]).returncode != 0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
