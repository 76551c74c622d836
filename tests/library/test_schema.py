"""Migrations, and what happens with files that are not what they should be."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sqlite3
import tempfile
from pathlib import Path

import pytest
from made_reps import rep

from tagger.library import Library, LibraryError
from tagger.library.connection import FILE_NAME, migrate, migrations, schema_version, statements

NEWEST = len(migrations())


def schema_of(path: Path) -> set[tuple[str, str]]:
    with sqlite3.connect(path) as connection:
        return set(connection.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"))


@pytest.mark.parametrize("version", range(NEWEST + 1))
def test_every_old_version_comes_to_the_newest_schema(tmp_path: Path, version: int) -> None:
    fresh, old = tmp_path / "fresh", tmp_path / "old"
    Library.open(fresh).close()
    old.mkdir()
    connection = sqlite3.connect(old / FILE_NAME, isolation_level=None)
    if version:
        migrate(connection, old / FILE_NAME, upto=version)
    assert schema_version(connection) == version
    connection.close()
    with Library.open(old) as library:
        assert library.save_rep(rep()).name == "rep-001"
    assert schema_of(old / FILE_NAME) == schema_of(fresh / FILE_NAME)


def test_a_rep_saved_under_the_first_schema_survives_the_migration(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    migrate(connection, tmp_path / FILE_NAME, upto=1)
    connection.execute(
        "INSERT INTO rep (name, folder, tagged_at, family, family_confidence, family_auto, family_source)"
        " VALUES ('old', '/film', '2026-01-01', 'cover-2', 0.6, 'cover-2', 'auto')"
    )
    connection.close()
    with Library.open(tmp_path) as library:
        assert [found.name for found in library.search("family:cover-2")] == ["old"]


def test_a_failing_migration_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Library.open(tmp_path).close()
    before = schema_of(tmp_path / FILE_NAME)
    broken = [*migrations(), (NEWEST + 1, "CREATE TABLE extra (a); CREATE TABLE extra (a);")]
    monkeypatch.setattr("tagger.library.connection.migrations", lambda: broken)
    with pytest.raises(LibraryError, match="extra"):
        Library.open(tmp_path)
    assert schema_of(tmp_path / FILE_NAME) == before


def test_statements_keep_triggers_whole() -> None:
    script = "CREATE TABLE a (b);\nCREATE TRIGGER t AFTER INSERT ON a BEGIN\n  SELECT 1;\n  SELECT 2;\nEND;\n-- the end\n"
    assert len(statements(script)) == 2


def test_a_newer_schema_is_refused(tmp_path: Path) -> None:
    Library.open(tmp_path).close()
    with sqlite3.connect(tmp_path / FILE_NAME) as connection:
        connection.execute(f"PRAGMA user_version = {NEWEST + 1}")
    for read_only in (False, True):
        with pytest.raises(LibraryError, match=rf"newer program \(schema {NEWEST + 1}, this one knows {NEWEST}\); update"):
            Library.open(tmp_path, read_only)


def test_an_older_schema_is_not_migrated_by_reading(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    migrate(connection, tmp_path / FILE_NAME, upto=1)
    connection.close()
    with pytest.raises(LibraryError, match="older program"):
        Library.open(tmp_path, read_only=True)


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"this is no database, but long enough to look at " * 100)
    with pytest.raises(LibraryError, match="not a library, or damaged"):
        Library.open(tmp_path)


def test_another_programs_database_is_refused_and_untouched(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / FILE_NAME) as connection:
        connection.execute("CREATE TABLE theirs (a)")
    with pytest.raises(LibraryError, match="another program"):
        Library.open(tmp_path)
    assert {name for name, _ in schema_of(tmp_path / FILE_NAME)} == {"theirs"}


def test_a_damaged_library_says_so(tmp_path: Path) -> None:
    with Library.open(tmp_path) as library:
        for number in range(30):
            library.save_rep(rep(f"rep-{number:03d}"))
    content = bytearray((tmp_path / FILE_NAME).read_bytes())
    content[4096:] = b"\xab" * (len(content) - 4096)
    (tmp_path / FILE_NAME).write_bytes(content)
    with pytest.raises(LibraryError, match="damaged"), Library.open(tmp_path) as library:
        library.search("")


def test_no_library_to_read(tmp_path: Path) -> None:
    with pytest.raises(LibraryError, match="no library here; tag film first"):
        Library.open(tmp_path / "nowhere", read_only=True)


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a file, no folder")
    with pytest.raises(LibraryError, match="cannot be made"):
        Library.open(tmp_path / "file" / "library")


def test_a_locked_library_is_named_so_and_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tagger.library.connection.BUSY_TIMEOUT_S", 0.05)
    with Library.open(tmp_path) as library:
        other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LibraryError, match="another program is writing"):
            library.save_rep(rep())
        assert library.count() == 0
        other.execute("ROLLBACK")
        other.close()
        assert library.save_rep(rep()).replaced is False


def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path) -> None:
    with Library.open(tmp_path) as library:
        library.save_rep(rep("rep-001"))
        pages = library._connection.execute("PRAGMA page_count").fetchone()[0]
        library._connection.execute(f"PRAGMA max_page_count = {pages + 2}")  # SQLite answers as it does on a full disk
        with pytest.raises(LibraryError, match="disk is full, nothing was saved"):
            save_many_into(library, 2, 50)
        for found in library.search(""):
            assert library.rep(found.rep_id).reading.defenders
        assert library._connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert not library._connection.execute("PRAGMA foreign_key_check").fetchall()


def look_into_a_closed_folder(folder: str) -> None:
    """What a person without the right to write meets; root may write everywhere, so it steps down first."""
    if os.geteuid() == 0:
        os.setgid(65534)
        os.setuid(65534)
    with Library.open(Path(folder), read_only=True) as library:
        assert library.count("family:cover-3") == 1
        assert library.sql("SELECT count(*) FROM reps")[1] == [(1,)]
    for attempt in (lambda: Library.open(Path(folder)).save_rep(rep("rep-002")), lambda: Library.open(Path(folder) / "new")):
        with pytest.raises(LibraryError, match=r"may not be written|cannot be opened|cannot be made") as refused:
            attempt()
        assert "\n" not in str(refused.value)


def test_a_read_only_folder() -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        with Library.open(folder) as library:
            library.save_rep(rep())
        (folder / FILE_NAME).chmod(0o444)
        folder.chmod(0o555)
        person = multiprocessing.get_context("fork").Process(target=look_into_a_closed_folder, args=(str(folder),))
        person.start()
        person.join(30)
        assert person.exitcode == 0
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_writing_through_a_reader_is_refused(tmp_path: Path) -> None:
    Library.open(tmp_path).close()
    with Library.open(tmp_path, read_only=True) as library, pytest.raises(LibraryError, match="may not be written"):
        library.save_rep(rep())


def save_many_into(library: Library, first: int, count: int) -> None:
    for number in range(first, first + count):
        library.save_rep(rep(f"rep-{number:03d}"))


def save_many(folder: str, first: int, count: int) -> None:
    with Library.open(Path(folder)) as library:
        save_many_into(library, first, count)


def test_two_programs_make_and_fill_one_library(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork")
    programs = [context.Process(target=save_many, args=(str(tmp_path / "library"), first, 15)) for first in (0, 100)]
    for program in programs:
        program.start()
    for program in programs:
        program.join(30)
        assert program.exitcode == 0
    with Library.open(tmp_path / "library") as library:
        assert library.count() == 30


def test_a_library_may_be_copied_by_its_folder(tmp_path: Path) -> None:
    with Library.open(tmp_path / "a") as library:
        library.save_rep(rep())
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    with Library.open(tmp_path / "b") as library:
        assert library.count() == 1
