"""Bad starts in a row."""

from pathlib import Path

from overwinter.guard.starts import Starts


def files(folder: Path) -> list[Path]:
    paths = [folder / name for name in ("settings.toml", "state", "logbook.jsonl")]
    for path in paths:
        path.write_text(path.name)
    return paths


def test_the_third_start_in_a_row_sets_its_suspects_aside(tmp_path: Path) -> None:
    suspects = files(tmp_path)
    for _ in range(2):
        starts = Starts(tmp_path, "boot")
        assert starts.set_suspects_aside(suspects) is None
        assert all(path.exists() for path in suspects)
        starts.another_failed()

    text = Starts(tmp_path, "boot").set_suspects_aside(suspects)

    assert text is not None
    assert "settings.toml, state, logbook.jsonl" in text
    assert not any(path.exists() for path in suspects)
    kept = {path.read_text() for path in tmp_path.iterdir() if ".suspect-" in path.name}
    assert kept == {"settings.toml", "state", "logbook.jsonl"}


def test_ready_clears_the_count(tmp_path: Path) -> None:
    for _ in range(2):
        Starts(tmp_path, "boot").another_failed()
    starts = Starts(tmp_path, "boot")
    assert not starts.are_over
    starts.one_succeeded()

    assert starts.are_over
    assert Starts(tmp_path, "boot").count() == 0


def test_another_boot_begins_to_count_anew(tmp_path: Path) -> None:
    for _ in range(5):
        Starts(tmp_path, "boot").another_failed()

    assert Starts(tmp_path, "the next boot").count() == 0
    assert Starts(tmp_path, "the next boot").set_suspects_aside(files(tmp_path)) is None


def test_a_count_that_cannot_be_read_or_written_costs_nothing(tmp_path: Path) -> None:
    (tmp_path / "bad-starts.json").write_text("[1")
    assert Starts(tmp_path, "boot").count() == 0

    nowhere = Starts(tmp_path / "missing", "boot")
    nowhere.another_failed()
    nowhere.one_succeeded()
    assert nowhere.count() == 0
