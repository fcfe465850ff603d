"""The two files at a start: damaged in every way, never an exception, never an undetected wrong band."""

from collections.abc import Callable
from pathlib import Path

import pytest

from overwinter.core.nouns import Settings
from overwinter.core.units import Unit
from overwinter.guard.files import (
    FILE_AT_MOST,
    SETTINGS,
    SETTINGS_COPY,
    SITE_COPY,
    CannotStart,
    LoadedSettings,
    load_settings,
    load_site,
)
from overwinter.store.atomic import write_copy

TEXT = b'unit = "C"\n[band]\nlow = 2.5\nhigh = 5.0\n[limits]\nalarm_low = 1.5\n'
SITE = (
    b'[[sensor]]\nname = "a"\nrole = "control"\nkind = "w1"\npath = "/w"\n[relay]\nkind = "gpio"\npin = 17\n'
)


def put(folder: Path, text: bytes | None, copy: bytes | None) -> None:
    for name in (SETTINGS, SETTINGS_COPY):
        (folder / name).unlink(missing_ok=True)
    if text is not None:
        (folder / SETTINGS).write_bytes(text)
    if copy is not None:
        write_copy(folder / SETTINGS_COPY, copy)


def load(folder: Path) -> LoadedSettings:
    return load_settings(folder, sense_s_min=1.0)


def band(settings: Settings) -> tuple[float, float]:
    return settings.low_c, settings.high_c


def test_the_first_start_takes_defaults_and_writes_them(tmp_path: Path) -> None:
    found = load(tmp_path)
    assert found.settings == Settings()
    assert found.recovered is None
    assert found.repair is not None
    found.repair()

    again = load(tmp_path)
    assert again.settings == Settings()
    assert (again.recovered, again.repair, again.by_hand) == (None, None, {})


def damages() -> list[tuple[str, Callable[[bytes], list[bytes]]]]:
    return [
        ("cut at every byte", lambda data: [data[:size] for size in range(len(data))]),
        (
            "every bit flipped",
            lambda data: [
                data[:at] + bytes([data[at] ^ 1 << bit]) + data[at + 1 :]
                for at in range(len(data))
                for bit in range(8)
            ],
        ),
        (
            "every block of 16 zeroed",
            lambda data: [data[:at] + bytes(16) + data[at + 16 :] for at in range(0, len(data), 16)],
        ),
    ]


@pytest.mark.parametrize(
    ("_name", "damage"), damages(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_a_damaged_file_beside_a_good_copy_is_never_an_undetected_wrong_band(
    tmp_path: Path, _name: str, damage: Callable[[bytes], list[bytes]]
) -> None:
    for data in damage(TEXT):
        put(tmp_path, data, TEXT)
        found = load(tmp_path)

        is_told = found.recovered is not None or bool(found.by_hand)
        assert band(found.settings) == (2.5, 5.0) or is_told, data
        if found.repair is not None:
            found.repair()
        assert load(tmp_path).settings.low_c == pytest.approx(found.settings.low_c), (
            "the repair keeps what runs"
        )


@pytest.mark.parametrize(
    ("_name", "damage"), damages(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_a_damaged_copy_never_takes_the_place_of_a_good_file(
    tmp_path: Path, _name: str, damage: Callable[[bytes], list[bytes]]
) -> None:
    put(tmp_path, TEXT, TEXT)
    headed = (tmp_path / SETTINGS_COPY).read_bytes()
    for data in damage(headed):
        (tmp_path / SETTINGS).write_bytes(TEXT)
        (tmp_path / SETTINGS_COPY).write_bytes(data)
        assert band(load(tmp_path).settings) == (2.5, 5.0)

        (tmp_path / SETTINGS).unlink()
        assert load(tmp_path).settings == Settings(), "a copy that is not whole is none"


def test_a_file_that_is_gone_comes_back_from_its_copy_and_says_so(tmp_path: Path) -> None:
    put(tmp_path, None, TEXT)
    found = load(tmp_path)

    assert band(found.settings) == (2.5, 5.0)
    assert found.recovered is not None
    assert "last-good" in found.recovered
    assert found.repair is not None
    found.repair()
    assert (tmp_path / SETTINGS).read_bytes() == TEXT


def test_a_hand_edit_made_while_nothing_ran_is_taken_and_told(tmp_path: Path) -> None:
    put(tmp_path, TEXT.replace(b"2.5", b"3.0"), TEXT)
    found = load(tmp_path)

    assert band(found.settings) == (3.0, 5.0)
    assert found.by_hand == {"band.low": (2.5, 3.0)}
    assert found.recovered is None


def test_what_cannot_be_understood_is_moved_aside_and_kept_byte_for_byte(tmp_path: Path) -> None:
    put(tmp_path, b"\xff\x00", TEXT)
    found = load(tmp_path)
    assert found.repair is not None
    found.repair()

    aside = [path for path in tmp_path.iterdir() if path.name.startswith(SETTINGS + ".")]
    assert [path.read_bytes() for path in aside] == [b"\xff\x00"]
    assert (tmp_path / SETTINGS).read_bytes() == TEXT


def test_a_folder_in_the_files_place_is_no_end(tmp_path: Path) -> None:
    (tmp_path / SETTINGS).mkdir()

    found = load(tmp_path)

    assert found.settings == Settings()
    assert found.recovered is not None
    assert found.repair is None


def test_a_file_too_large_for_one_written_by_hand_is_not_read_whole(tmp_path: Path) -> None:
    put(tmp_path, b"#" * (FILE_AT_MOST + 1), TEXT)

    found = load(tmp_path)

    assert band(found.settings) == (2.5, 5.0)
    assert found.recovered is not None
    assert found.settings.unit is Unit.C


def test_the_site_that_ran_is_used_when_the_present_one_is_refused(tmp_path: Path) -> None:
    site = tmp_path / "site.toml"
    site.write_bytes(SITE)
    found = load_site(site, tmp_path)
    assert (found.recovered, found.site.relay.pin) == (None, 17)
    assert found.repair is not None
    found.repair()

    site.write_bytes(SITE.replace(b"17", b"99"))
    kept = load_site(site, tmp_path)
    assert kept.site.relay.pin == 17
    assert kept.recovered is not None
    assert "99" in kept.recovered

    site.unlink()
    assert load_site(site, tmp_path).site.relay.pin == 17
    (tmp_path / SITE_COPY).unlink()
    with pytest.raises(CannotStart, match="nothing says what is wired"):
        load_site(site, tmp_path)


@pytest.mark.parametrize("left", [b"", b"\n", b"# only a remark\n"])
def test_a_file_without_a_key_is_not_taken_for_all_defaults(tmp_path: Path, left: bytes) -> None:
    """A power cut may leave a file that is there and empty."""
    put(tmp_path, left, TEXT)

    found = load(tmp_path)

    assert band(found.settings) == (2.5, 5.0)
    assert found.recovered is not None
