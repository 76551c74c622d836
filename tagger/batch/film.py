"""Finds the film that a person named, and which clips are views of one rep."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tagger.library.landing import SUFFIXES

VIEW_WORDS = {
    "sideline": ("sideline", "side-line", "wide"),
    "low-sideline": ("low-sideline",),
    "end-zone": ("end-zone", "endzone", "tight", "ez"),
}
_VIEW = re.compile(
    r"^(?P<stem>.+?)[-_ .](?P<view>" + "|".join(sorted({w.replace("-", "[-_ ]?") for words in VIEW_WORDS.values() for w in words},
                                                        key=len, reverse=True)) + r")$", re.IGNORECASE)


@dataclass(frozen=True)
class RepFilm:
    """One rep's clips, one per view."""

    name: str
    clips: tuple[Path, ...]


def find_clips(paths: Iterable[Path]) -> list[Path]:
    """Every clip, folders searched to their bottom, each once, in order of name. Raises ValueError for a folder without film."""
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if _is_film(p))
            if not inside:
                raise ValueError(f"{path}: no film in this folder; name a folder or a clip ({', '.join(sorted(SUFFIXES))})")
            found |= dict.fromkeys(p.resolve() for p in inside)
        else:
            found[path.resolve()] = None
    return list(found)


def _is_film(path: Path) -> bool:
    return path.suffix.lower() in SUFFIXES and path.is_file() and not path.name.startswith(".")


def view_in_name(path: Path) -> tuple[str, str | None]:
    """(the rep's name, the view that the file name tells or None)."""
    match = _VIEW.match(path.stem)
    if match is None:
        return path.stem, None
    said = re.sub(r"[-_ ]", "", match["view"].lower())
    view = next(v for v, words in VIEW_WORDS.items() if said in (word.replace("-", "") for word in words))
    return match["stem"], view


def pair_views(clips: Sequence[Path]) -> list[RepFilm]:
    """Clips of one folder and one stem with different views in their names are one rep; every other clip is its own."""
    groups: dict[tuple[Path, str], dict[str, Path]] = {}
    reps: list[RepFilm] = []
    for clip in clips:
        stem, view = view_in_name(clip)
        group = groups.setdefault((clip.parent, stem.lower()), {}) if view else None
        if view is None or group is None or view in group:
            reps.append(RepFilm(clip.stem, (clip,)))
        else:
            group[view] = clip
    for (_, _), views in groups.items():
        films = tuple(views[view] for view in VIEW_WORDS if view in views)
        reps.append(RepFilm(view_in_name(films[0])[0] if len(films) > 1 else films[0].stem, films))
    place = {clip: index for index, clip in enumerate(clips)}
    return sorted(reps, key=lambda rep: place[rep.clips[0]])
