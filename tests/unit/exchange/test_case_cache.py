"""What is kept to open a case faster is never trusted, and never missed."""

from __future__ import annotations

import pytest

from vertebloc.exchange.case_cache import MOST_KEPT, find_in_cache, put_in_cache

KEYS = [f"{number:x}" * 64 for number in range(8)]


def only_file(case):
    (path,) = (case / "cache").iterdir()
    return path


def test_found_under_its_own_key_only(tmp_path):
    put_in_cache(tmp_path, KEYS[1], b"measured")
    assert find_in_cache(tmp_path, KEYS[1]) == b"measured"
    assert find_in_cache(tmp_path, KEYS[2]) == b""
    # two keys whose beginnings are the same share a name: the whole key is compared
    assert find_in_cache(tmp_path, KEYS[1][:16] + "f" * 48) == b""


@pytest.mark.parametrize("at", [0, 20, 90, 150, -1])
def test_a_flipped_bit_is_thrown_away(tmp_path, at):
    put_in_cache(tmp_path, KEYS[1], b"measured" * 20)
    data = bytearray(only_file(tmp_path).read_bytes())
    data[at] ^= 1
    only_file(tmp_path).write_bytes(data)
    assert find_in_cache(tmp_path, KEYS[1]) == b""
    assert list((tmp_path / "cache").iterdir()) == []


@pytest.mark.parametrize("length", [0, 1, 100, 160])
def test_a_torn_file_is_thrown_away(tmp_path, length):
    put_in_cache(tmp_path, KEYS[1], b"measured" * 20)
    path = only_file(tmp_path)
    path.write_bytes(path.read_bytes()[:length])
    assert find_in_cache(tmp_path, KEYS[1]) == b""
    assert not path.exists()


def test_few_are_kept_and_what_a_kill_left_goes_first(tmp_path):
    for key in KEYS[:MOST_KEPT]:
        put_in_cache(tmp_path, key, b"old")
    (tmp_path / "cache" / ".aside-77-measured-x.bin").write_bytes(b"half writ")
    foreign = tmp_path / "cache" / "notes.txt"
    foreign.write_text("mine")
    put_in_cache(tmp_path, KEYS[7], b"new")
    put_in_cache(tmp_path, KEYS[6], b"new")
    kept = [path for path in (tmp_path / "cache").iterdir() if path != foreign]
    assert len(kept) == MOST_KEPT
    assert find_in_cache(tmp_path, KEYS[7]) == find_in_cache(tmp_path, KEYS[6]) == b"new"
    assert foreign.read_text() == "mine"


def test_a_place_that_cannot_be_written_is_no_error(tmp_path):
    (tmp_path / "cache").write_text("a file where the folder should be")
    put_in_cache(tmp_path, KEYS[1], b"measured")
    assert find_in_cache(tmp_path, KEYS[1]) == b""
