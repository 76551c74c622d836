"""The fields that coaches' clicks gave, clip by clip, kept beside the automatic ones."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

from homography.types import FieldView
from tagger.library.arrays import pack, unpack_field_view

Door = Callable[[], AbstractContextManager[sqlite3.Connection]]


class ClickedFields:
    """Those of one library. `clicks` are JSON values; a field belongs to exactly the clicks that it was found for."""

    def __init__(self, reading: Door, writing: Door) -> None:
        self._reading, self._writing = reading, writing

    def find(self, clip_id: int, clicks: Any) -> FieldView | None:
        """The field of these clicks on this clip; None where it has not been found yet."""
        with self._reading() as connection:
            row = connection.execute("SELECT npz FROM clicked_field WHERE clip_id = ? AND clicks = ?",
                                     (clip_id, _text(clicks))).fetchone()
        return None if row is None else unpack_field_view(row[0])

    def keep(self, clip_id: int, clicks: Any, view: FieldView) -> None:
        """Remember a clip's field, in the place of one that other clicks gave."""
        with self._writing() as connection:
            connection.execute("INSERT OR REPLACE INTO clicked_field VALUES (?, ?, ?)", (clip_id, _text(clicks), pack(view)))


def _text(clicks: Any) -> str:
    return json.dumps(clicks, sort_keys=True)
