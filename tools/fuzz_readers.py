"""Look for bytes that a reader of notation neither reads nor refuses, led by which code they reach (`make fuzz`).

    python tools/fuzz_readers.py abc 600        the ABC reader for ten minutes; also musicxml, mxl, midi

Starts from the notation files of the tests and keeps what it learns in out/fuzz/. An input that breaks a reader, takes it
longer than 10 s or makes it use more than 1 GB ends the run and is kept there, too.
"""

import sys
from pathlib import Path

import atheris

HOME = Path(__file__).parent.parent
ENDINGS = {"abc": {".abc"}, "musicxml": {".musicxml", ".xml"}, "mxl": {".mxl"}, "midi": {".mid"}}
sys.path.insert(0, str(HOME / "tests" / "tune"))

with atheris.instrument_imports(include=["jackrail"]):
    from fuzz_targets import TARGETS


def seeds_of(target: str) -> Path:
    """A folder with the tests' notation files of one format."""
    folder = HOME / "out" / "fuzz" / f"{target}-seeds"
    folder.mkdir(parents=True, exist_ok=True)
    for file in (HOME / "tests" / "tune" / "cases").glob("*/*"):
        if file.suffix in ENDINGS[target] and file.stat().st_size < 20_000:
            (folder / file.name).write_bytes(file.read_bytes())
    return folder


def main() -> None:
    """Fuzz the target named first for the seconds named second."""
    target, seconds = sys.argv[1], sys.argv[2]
    found = HOME / "out" / "fuzz" / target
    found.mkdir(parents=True, exist_ok=True)
    options = [f"-max_total_time={seconds}", "-timeout=10", "-rss_limit_mb=1024", "-max_len=4096", f"-artifact_prefix={found}-broken-"]
    atheris.Setup([sys.argv[0], *options, str(found), str(seeds_of(target))], TARGETS[target])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
