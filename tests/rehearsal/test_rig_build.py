"""Building the rig: what is told when something is missing, and that it is built once, whole."""

import importlib.util
import subprocess

import pytest
from emulated import needs_rig

from jackrail.rehearsal import build
from jackrail.rehearsal.missing import RigMissing


@pytest.fixture
def cache(tmp_path, monkeypatch):
    """An empty cache of the user's."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "jackrail"


def only_this_on_path(monkeypatch, folder, script):
    folder.mkdir()
    if script:
        compiler = folder / "cc"
        compiler.write_text(script)
        compiler.chmod(0o755)
    monkeypatch.setenv("PATH", str(folder))


def test_without_a_compiler_its_packages_are_named(cache, monkeypatch, tmp_path):
    only_this_on_path(monkeypatch, tmp_path / "bin", "")
    with pytest.raises(RigMissing, match=r"apt-get install gcc libc6-dev libsimavr-dev$"):
        build.build()


def test_without_libsimavr_its_package_is_named(cache, monkeypatch, tmp_path):
    only_this_on_path(monkeypatch, tmp_path / "bin", "#!/bin/sh\nexit 1\n")
    with pytest.raises(RigMissing, match=r"apt-get install libsimavr-dev$"):
        build.build()


def test_without_cffi_its_package_is_named(cache, monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *rest: None if name == "cffi" else found(name, *rest))
    with pytest.raises(RigMissing, match=r"python3-cffi"):
        build.build()


@needs_rig
def test_where_nothing_can_be_written_the_folder_is_named(monkeypatch, tmp_path):
    (tmp_path / "plain").write_text("a file where the cache should be")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "plain"))
    with pytest.raises(RigMissing, match=r"cannot be built in .*plain.jackrail: Not a directory"):
        build.build()


@needs_rig
def test_sources_that_do_not_compile_are_told(cache, monkeypatch, tmp_path):
    (tmp_path / "broken.c").write_text("no C at all\n")
    monkeypatch.setattr(build, "SOURCES", tmp_path)
    with pytest.raises(RigMissing, match="cannot be built"):
        build.build()
    assert list(cache.iterdir()) == []  # nothing half made is left


@needs_rig
def test_a_library_that_cannot_be_loaded_is_told(cache, monkeypatch):
    build.build().write_bytes(b"no library")
    build.library.cache_clear()
    try:
        with pytest.raises(RigMissing, match="cannot be loaded"):
            build.library()
    finally:
        build.library.cache_clear()


@pytest.mark.slow
@needs_rig
def test_it_is_built_once_and_anew_when_anything_changes(cache, monkeypatch, tmp_path):
    first = build.build()
    written = first.stat().st_mtime_ns
    assert first.parent == cache
    assert build.build() == first
    assert first.stat().st_mtime_ns == written
    monkeypatch.setattr(build, "FLAGS", (*build.FLAGS, "-g0"))
    second = build.build()
    assert second != first
    changed = tmp_path / "rig"
    changed.mkdir()
    for path in build.c_sources():
        (changed / path.name).write_bytes(path.read_bytes() + (b"\n" if path.name == "chip.c" else b""))
    monkeypatch.setattr(build, "SOURCES", changed)
    assert build.build() not in (first, second)
    assert sorted(cache.iterdir()) == sorted(cache.glob("rig-*.so"))  # nothing half made is left


@needs_rig
def test_the_sources_compile_without_a_warning(tmp_path):
    strict = ["-Wall", "-Wextra", "-Wshadow", "-Wconversion", "-Wno-sign-conversion", "-Werror"]
    files = [str(path) for path in build.c_sources() if path.suffix == ".c"]
    done = subprocess.run(["cc", *build.FLAGS, *strict, "-o", str(tmp_path / "it.so"), *files, *build.LIBRARIES], check=False)
    assert done.returncode == 0
