"""Busts: a zone that nobody is in, two men in one zone, too few rushers, and the rep against its called coverage."""

from __future__ import annotations

import numpy as np

from homography.field import WIDTH_YD
from tagger.football.course import Course, Job, bounds_of, runs
from tagger.football.types import Event
from tagger.football.vocabulary import FAMILIES, MAN_FAMILIES

LEAST_RUSH = 3
WHOLE_DEFENSE = 11
"""With a man missing, it may be he who rushed."""
SURE = 0.75
OUT_OF_ZONE_YD = 5.0
SAME_PLACE_YD = 3.0
HELD_S = 0.8


def busts(course: Course, rush_count: int | None) -> list[Event]:
    """Of the deep zones and of the call; what cannot be told is not said."""
    found = [event for job in course.zones() if job.deep and (event := _empty(course, job)) is not None]
    found += _two_in_one(course)
    call = course.scene.play.situation.call
    called = next((family for family in sorted(FAMILIES, key=len, reverse=True) if call and family in call.lower()), None)
    if (rush_count is not None and course.scene.full_line and len(course.scene.defense) == WHOLE_DEFENSE
            and rush_count < LEAST_RUSH):
        why = f"{rush_count} rushed; no call of the book rushes fewer than {LEAST_RUSH}"
        found.append(_whole(course, "bust-short-rush", why, 0.6))
    if called is not None and called != course.family and course.sure > SURE:
        found.append(_whole(course, "bust-called", f"called {called}, played {course.family}", course.sure))
    elif called is not None and called not in MAN_FAMILIES:
        found += [course.event("bust-called", job, course.scene.snap, course.end, f"in man, {called} was called", job.receiver,
                               confidence=0.6)
                  for job in course.jobs if job.word == "man" and job.confidence > SURE]
    return found


def _empty(course: Course, job: Job) -> Event | None:
    """The man whose area it is, is well out of it, and a receiver in it has nobody near."""
    low, high = bounds_of(job)
    mine = course.across(job.row)
    away = (mine < low - OUT_OF_ZONE_YD) | (mine > high + OUT_OF_ZONE_YD)
    live = np.arange(len(course.scene.time_s)) <= course.thrown
    for receiver in map(int, course.scene.receivers):
        inside = ((course.across(receiver) > low) & (course.across(receiver) < high)
                  & (course.depth(receiver) > course.settings.deep.vertical_yd))
        nearest = np.min([course.apart(other, receiver) for other in course.scene.defense], axis=0)
        spans = runs(inside & away & (nearest > course.settings.events.bust_open_yd) & live, course.settings.events.stress_s)
        if spans:
            start, end = spans[0][0], spans[-1][1]
            gap = float(nearest[start : end + 1].max())
            why = f"{course.scene.play.player_id[receiver]} is alone in the {job.word} {job.area}, {gap:.0f} yd from anybody"
            return course.event("bust-empty-zone", job, start, end, why, receiver, gap, 0.7)
    return None


def _two_in_one(course: Course) -> list[Event]:
    """Two zone men side by side with no receiver whom both could have."""
    found, zone = [], list(course.zones())
    live = np.arange(len(course.scene.time_s))
    live_mask = (live >= course.scene.at(course.settings.events.landmark_s - 0.8)) & (live <= course.thrown)
    for i, one in enumerate(zone):
        for other in zone[i + 1 :]:
            if one.deep or other.deep:
                continue
            alone = (np.min([course.apart(one.row, int(r)) for r in course.scene.receivers], axis=0)
                     > course.settings.events.bust_open_yd)
            spans = runs((course.apart(one.row, other.row) < SAME_PLACE_YD) & alone & live_mask, HELD_S)
            if spans:
                off = max(one, other,
                          key=lambda job: abs(float(course.across(job.row)[spans[0][0]]) - WIDTH_YD / 2 - job.side * 8.0))
                why = f"{one.player_id} and {other.player_id} stand in one place, no receiver near"
                found.append(course.event("bust-two-in-zone", off, spans[0][0], spans[-1][1], why, confidence=0.6))
    return found


def _whole(course: Course, kind: str, why: str, confidence: float) -> Event:
    """An event of the whole defense."""
    times = course.scene.time_s + course.scene.snap_s
    return Event(kind, None, None, round(float(times[course.scene.snap]), 3), round(float(times[course.end]), 3), None,
                 round(float(confidence), 3), why)
