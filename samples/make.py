"""Makes the samples and their truth anew, by the commands of made_with.txt and made_with_clips.txt.

python samples/make.py [--to FOLDER] [NAME ...]

Without names every picture and clip is made; the ride alone takes some minutes. Needed after a change of the
renderer, or a test says that the samples are no longer what their commands make.
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
# The commands and, beside the samples, the truth of what they make.
LISTS = {"made_with.txt": "truth.jsonl", "made_with_clips.txt": "truth_clips.jsonl"}


def commands(made_with: str) -> dict[str, str]:
    """Name of each sample -> the line that makes it, in the order of the file."""
    lines = (HERE / made_with).read_text(encoding="utf-8").splitlines()
    return {
        re.findall(r"[\w-]+\.(?:jpg|mp4)", line)[0]: line
        for line in lines
        if line and not line.startswith("#")
    }


def make(line: str, folder: Path) -> dict[str, Any]:
    """Run one line; its sample lands in the folder, its truth is returned."""
    words = shlex.split(line, comments=True)
    program = {"litlamp": ["-m", "litlamp"], "python": []}[words[0]]
    words = [str(HERE / word) if word == "ride.py" else word for word in words]
    path = os.pathsep.join(filter(None, [str(HERE.parent / "vision"), os.environ.get("PYTHONPATH")]))
    with tempfile.TemporaryDirectory(dir=folder, prefix=".making-") as at:
        subprocess.run(
            [sys.executable, *program, *words[1:]], cwd=at, check=True, env={**os.environ, "PYTHONPATH": path}
        )
        truth: dict[str, Any] = json.loads((Path(at) / "truth.jsonl").read_text(encoding="utf-8"))
        (Path(at) / truth["source"]).replace(folder / truth["source"])
    if truth.get("kind") == "clip":
        return truth
    # A key of these samples only: whether the picture must be read exactly.
    return {"source": truth.pop("source"), "clear": line.endswith(CLEAR), **truth}


def main() -> None:
    """Make the samples asked for and bring their truth up to date."""
    parser = argparse.ArgumentParser(description="Makes the samples anew.")
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--to", type=Path, default=HERE, metavar="FOLDER")
    args = parser.parse_args()
    lists = {made_with: commands(made_with) for made_with in LISTS}
    if strange := set(args.names) - {name for known in lists.values() for name in known}:
        parser.error(f"no command makes {', '.join(sorted(strange))}")
    for made_with, known in lists.items():
        names = [name for name in known if name in args.names or not args.names]
        if names:
            bring_up_to_date(args.to / LISTS[made_with], known, names, args.to)


def bring_up_to_date(book: Path, known: dict[str, str], names: list[str], folder: Path) -> None:
    """Make the named samples of one list and write their truth among that of the others."""
    truths: dict[str, dict[str, Any]] = {}
    if len(names) < len(known) and book.is_file():
        truths = {t["source"]: t for t in map(json.loads, book.read_text(encoding="utf-8").splitlines())}
    for name in names:
        truths[name] = make(known[name], folder)
    kept = (json.dumps(truths[name], separators=(",", ":")) for name in known if name in truths)
    book.write_text("".join(f"{line}\n" for line in kept), encoding="utf-8")


if __name__ == "__main__":
    main()
