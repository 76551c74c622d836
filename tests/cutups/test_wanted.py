"""What a search is about is found in the rep, with the same answers as the library's own search."""

from __future__ import annotations

import pytest
from filmed_scene import Scene, clip_record, made_up_reading

from tagger.cutups.wanted import wanted_events, wanted_players
from tagger.library import Library, RepRecord, StoredRep, parse


@pytest.fixture(scope="module")
def kept(scene: Scene, tmp_path_factory: pytest.TempPathFactory) -> tuple[Library, StoredRep]:
    library = Library.open(tmp_path_factory.mktemp("library"))
    saved = library.save_rep(RepRecord("rep-001", (clip_record(scene, made_up_reading(), "print"),)))
    return library, library.rep(saved.rep_id)


@pytest.mark.parametrize(("search", "events", "players"), [
    ("event:leverage-lost-over-top", 1, {"D1"}), ("event(event:leverage-lost-over-top margin:1..2)", 1, {"D1"}),
    ("event(event:leverage-lost-over-top margin>2)", 0, set()), ("event(slot:corner margin<=1.2)", 1, {"D1"}),
    ("event(slot:cor*)", 1, {"D1"}), ("event(slot:*f*)", 0, set()), ("margin>=1", 1, {"D1"}), ("event(number:none)", 1, {"D1"}),
    ("not event:leverage-lost-over-top", 0, set()), ("family:cover-3", 0, set()),
    ("defender(slot:safety area:middle)", 0, {"D2"}), ("assignment:curl-flat", 0, {"D4", "D5"}),
    ("defender(slot:corner not area:left)", 0, {"D3"}), ("defender(sure>0.95)", 0, set()),
    ("defender(slot:safety area:middle) event:leverage-lost-over-top", 1, {"D1"}),
    ("event:break or event:leverage-lost-over-top", 1, {"D1"}),
])
def test_events_and_men(kept: tuple[Library, StoredRep], search: str, events: int, players: set[str]) -> None:
    library, stored = kept
    query = parse(search)
    assert len(wanted_events(query, stored)) == events
    assert wanted_players(query, stored) == players
    if search.startswith(("event", "defender", "margin")) and " or " not in search:
        assert bool(library.search(query)) == bool(players)
