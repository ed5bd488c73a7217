"""The tables of outside values themselves: each value has an origin, and none lies there unused."""

import pytest

from workshop import ROOT, authority

TABLES = sorted(path.stem for path in (ROOT / "authorities").glob("*.toml"))
TESTS = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "tests" / "authorities").glob("test_*.py"))


@pytest.mark.parametrize("name", TABLES)
def test_every_value_names_its_origin_and_how_it_was_had(name):
    for ident, row in authority(name).items():
        assert row["what"], ident
        assert row["source"], ident
        assert row["how"] in ("seen", "memory", "derived"), ident


@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_read_and_every_value_is_used(name):
    assert f'authority("{name}")' in TESTS
    if name != "units":  # there every row is used in turn
        assert [ident for ident in authority(name) if f'VALUES["{ident}"]' not in TESTS] == []


def test_no_identity_is_used_twice():
    idents = [ident for name in TABLES for ident in authority(name)]
    assert len(idents) == len(set(idents))
