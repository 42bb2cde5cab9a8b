"""Makes the sample pictures and their truth.jsonl anew, by the commands of made_with.txt.

python samples/make.py [--to FOLDER] [NAME.jpg ...]

Without names every picture is made. Needed after a change of the renderer, or a test says that the pictures
are no longer what their commands make.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
CLEAR = "# clear"


def commands() -> dict[str, str]:
    """Name of each picture -> the line that makes it, in the order of the file."""
    lines = (HERE / "made_with.txt").read_text(encoding="utf-8").splitlines()
    return {re.findall(r"[\w-]+\.jpg", line)[0]: line for line in lines if line and not line.startswith("#")}


def make(line: str, folder: Path) -> dict[str, Any]:
    """Run one line; its picture lands in the folder, its truth is returned."""
    words = shlex.split(line, comments=True)
    program = {"litlamp": ["-m", "litlamp"], "python": []}[words[0]]
    path = os.pathsep.join(filter(None, [str(HERE.parent / "vision"), os.environ.get("PYTHONPATH")]))
    with tempfile.TemporaryDirectory(dir=folder, prefix=".making-") as at:
        subprocess.run(
            [sys.executable, *program, *words[1:]], cwd=at, check=True, env={**os.environ, "PYTHONPATH": path}
        )
        truth: dict[str, Any] = json.loads((Path(at) / "truth.jsonl").read_text(encoding="utf-8"))
        (Path(at) / truth["source"]).replace(folder / truth["source"])
    # A key of these samples only: whether the picture must be read exactly.
    return {"source": truth.pop("source"), "clear": line.endswith(CLEAR), **truth}


def main() -> None:
    """Make the pictures asked for and bring truth.jsonl up to date."""
    parser = argparse.ArgumentParser(description="Makes the sample pictures anew.")
    parser.add_argument("names", nargs="*", metavar="NAME.jpg")
    parser.add_argument("--to", type=Path, default=HERE, metavar="FOLDER")
    args = parser.parse_args()
    known = commands()
    if strange := set(args.names) - known.keys():
        parser.error(f"no command makes {', '.join(sorted(strange))}")
    book = args.to / "truth.jsonl"
    truths: dict[str, dict[str, Any]] = {}
    if args.names and book.is_file():
        truths = {t["source"]: t for t in map(json.loads, book.read_text(encoding="utf-8").splitlines())}
    for name in args.names or known:
        truths[name] = make(known[name], args.to)
    kept = (json.dumps(truths[name], separators=(",", ":")) for name in known if name in truths)
    book.write_text("".join(f"{line}\n" for line in kept), encoding="utf-8")


if __name__ == "__main__":
    main()
