"""Turns a query into one SQL statement with bound values, and finds the reps."""

from __future__ import annotations

import sqlite3

from tagger.library.correction_check import nearest
from tagger.library.fields import FEATURE, FIELDS, GROUP_TABLES, GROUPS, REP, SearchField
from tagger.library.query import NONE, All, AnyOf, Condition, Not, OneOf, Query
from tagger.library.records import RepSummary

ORDERS = {
    "rep": "rep_id", "-rep": "rep_id DESC", "name": "name, rep_id",
    "tagged": "tagged_at, rep_id", "-tagged": "tagged_at DESC, rep_id",
    "confidence": "family_confidence, rep_id", "-confidence": "family_confidence DESC, rep_id",
}
SUMMARY_COLUMNS = ", ".join(RepSummary._fields)

Sql = tuple[str, list[str | float | int]]


def where(query: Query) -> Sql:
    """(condition on `rep`, bound values). Only this program's own names stand in the text."""
    if isinstance(query, All):
        return _joined([where(part) for part in query.parts], " AND ", "1")
    if isinstance(query, AnyOf):
        return _joined([where(part) for part in query.parts], " OR ", "0")
    if isinstance(query, Not):
        text, values = where(query.part)
        return f"NOT ({text})", values
    if isinstance(query, OneOf):
        text, values = _inside(query.part, GROUP_TABLES[query.group], query.group)
        return f"rep_id IN (SELECT rep_id FROM {GROUP_TABLES[query.group]} WHERE {text})", values
    field = FIELDS[query.field]
    if field.table == REP:
        return _test(field, query, field.column)
    if query.values == (NONE,) and query.op == ":":
        return f"rep_id NOT IN (SELECT rep_id FROM {field.table} WHERE {field.column} IS NOT NULL)", []
    text, values = _test(field, query, field.column)
    side = "side = 'defense' AND " if field.table == "player" else ""
    return f"rep_id IN (SELECT rep_id FROM {field.table} WHERE {side}({text}))", values


def _inside(query: Query, table: str, group: str) -> Sql:
    """A condition on one row of the group's table."""
    if isinstance(query, All):
        return _joined([_inside(part, table, group) for part in query.parts], " AND ", "1")
    if isinstance(query, AnyOf):
        return _joined([_inside(part, table, group) for part in query.parts], " OR ", "0")
    if isinstance(query, Not):
        text, values = _inside(query.part, table, group)
        return f"NOT ({text})", values
    assert isinstance(query, Condition)
    if query.field not in GROUPS[group]:
        raise ValueError(nearest(query.field, GROUPS[group], f"search field of {group}(...)"))
    field = FIELDS[query.field]
    return _test(field, query, field.column)


def _joined(parts: list[Sql], between: str, empty: str) -> Sql:
    if not parts:
        return empty, []
    return "(" + between.join(f"({text})" for text, _ in parts) + ")", [value for _, values in parts for value in values]


def _test(field: SearchField, condition: Condition, column: str) -> Sql:
    """Never NULL, so that `not` means what a reader thinks: a value that is missing fits no word but `none`."""
    if condition.op == "..":
        low, high = condition.values
        ends = [(f"{column} >= ?", low)] * bool(low) + [(f"{column} <= ?", high)] * bool(high)
        return f"{column} IS NOT NULL AND " + " AND ".join(text for text, _ in ends), [float(end) for _, end in ends]
    if condition.op != ":":
        if condition.values == (NONE,):
            raise ValueError(f"{field.name}: none cannot be compared; write {field.name}:none")
        return f"{column} IS NOT NULL AND {column} {condition.op} ?", [float(condition.values[0])]
    return _joined([_equals(field, word, column) for word in condition.values], " OR ", "0")


def _equals(field: SearchField, word: str, column: str) -> Sql:
    if word == NONE:
        return f"{column} IS NULL", []
    if field.kind == "number":
        return f"{column} IS ?", [float(word)]
    if field.kind == "flag":
        return f"{column} = ?", [int(word == "yes")]
    if field.table == FEATURE:
        return f"{column} = ? OR stem = ?", [word.lower(), word.lower()]
    if "*" in word:
        pattern = word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_").replace("*", "%")
        return f"{column} IS NOT NULL AND {column} LIKE ? ESCAPE '\\'", [pattern]
    return f"{column} IS ?", [word]


def find(connection: sqlite3.Connection, query: Query, limit: int | None = None, offset: int = 0,
         order: str = "rep") -> list[RepSummary]:
    """The reps that fit, in `order` (one of ORDERS)."""
    if order not in ORDERS:
        raise ValueError(nearest(order, ORDERS, "order"))
    text, values = where(query)
    rows = connection.execute(
        f"SELECT {SUMMARY_COLUMNS} FROM rep WHERE {text} ORDER BY {ORDERS[order]} LIMIT ? OFFSET ?",
        [*values, -1 if limit is None else limit, offset])
    return [RepSummary._make(row) for row in rows]


def count(connection: sqlite3.Connection, query: Query) -> int:
    """How many reps fit."""
    text, values = where(query)
    return int(connection.execute(f"SELECT count(*) FROM rep WHERE {text}", values).fetchone()[0])


def check_film_words(connection: sqlite3.Connection, query: Query) -> list[str]:
    """One line for each word that no rep of the library has though the field takes any word: most likely a typing error."""
    lines = []
    for condition in _conditions(query):
        field = FIELDS[condition.field]
        if field.kind != "text" or condition.op != ":" or field.name == "rep":
            continue
        known = {str(row[0]) for row in connection.execute(
            f"SELECT DISTINCT {field.column} FROM {field.table} WHERE {field.column} IS NOT NULL LIMIT 2000")}
        if field.table == FEATURE:
            known |= {str(row[0]) for row in connection.execute("SELECT DISTINCT stem FROM feature")}
        lines += [nearest(word, known, field.name) for word in condition.values
                  if word != NONE and "*" not in word and word not in known and word.lower() not in known]
    return lines


def _conditions(query: Query) -> list[Condition]:
    if isinstance(query, Condition):
        return [query]
    parts = query.parts if isinstance(query, All | AnyOf) else (query.part,)
    return [condition for part in parts for condition in _conditions(part)]
