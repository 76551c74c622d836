"""The language of searches: `family:cover-3 and (down:3 or distance:7..10) and not defender(slot:FS area:middle)`.

A condition is `field:value`; a value is a word, `a,b` (any of them), a range `a..b` (either end may be missing), or a
comparison as `margin>=1`. Conditions side by side mean `and`. `defender(...)`, `event(...)` and `motion(...)` hold
conditions on one and the same man, event or motion; `none` as a value asks for what is missing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tagger.library.correction_check import nearest
from tagger.library.fields import FIELDS, GROUPS

NONE = "none"


@dataclass(frozen=True)
class Condition:
    """`field` `op` `values`: op ":" with the words any of which fits, ".." with (low, high), or a comparison with one."""

    field: str
    op: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class All:
    """Every part holds; no part: every rep."""

    parts: tuple[Query, ...] = ()


@dataclass(frozen=True)
class AnyOf:
    """At least one part holds."""

    parts: tuple[Query, ...]


@dataclass(frozen=True)
class Not:
    """The part does not hold."""

    part: Query


@dataclass(frozen=True)
class OneOf:
    """One defender, event or motion (`group`) of the rep fits `part`."""

    group: str
    part: Query


Query = Condition | All | AnyOf | Not | OneOf

_TOKEN = re.compile(r"""\s*(?:(?P<paren>[()])|(?P<word>[A-Za-z][\w-]*)(?P<op><=|>=|!=|[:=<>])(?P<value>"[^"]*"|[^\s()"]+)|"""
                    r"""(?P<group>[a-z]+)(?=\()|(?P<plain>[^\s()]+))""")
MAX_DEPTH = 40


def parse(text: str) -> Query:
    """The query that `text` says; an empty text means every rep. Raises ValueError with one line, nearest words in it."""
    return _Parser(text).whole()


def written(query: Query) -> str:
    """The query in the language that `parse` reads."""
    if isinstance(query, Condition):
        value = "..".join(query.values) if query.op == ".." else ",".join(query.values)
        quoted = f'"{value}"' if re.search(r"[\s()]", value) else value
        return f"{query.field}{':' if query.op == '..' else query.op}{quoted}"
    if isinstance(query, Not):
        return f"not ({written(query.part)})"
    if isinstance(query, OneOf):
        return f"{query.group}({written(query.part)})"
    between = " and " if isinstance(query, All) else " or "
    return between.join(f"({written(part)})" if isinstance(part, All | AnyOf) else written(part) for part in query.parts)


class _Parser:
    """Recursive descent: or < and < not < condition."""

    def __init__(self, text: str) -> None:
        self.text, self.tokens, self.at, self.depth = text, _tokens(text), 0, 0

    def whole(self) -> Query:
        if not self.tokens:
            return All()
        query = self.any_of(None)
        if self.at < len(self.tokens):
            raise ValueError(f"search: a ) too many in {self.text!r}")
        return query

    def peek(self) -> re.Match[str] | None:
        return self.tokens[self.at] if self.at < len(self.tokens) else None

    def takes(self, word: str) -> bool:
        token = self.peek()
        if token is not None and (token["plain"] or token["paren"] or "").lower() == word:
            self.at += 1
            return True
        return False

    def any_of(self, group: str | None) -> Query:
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise ValueError("search: too many brackets in each other")
        parts = [self.all_of(group)]
        while self.takes("or"):
            parts.append(self.all_of(group))
        self.depth -= 1
        return parts[0] if len(parts) == 1 else AnyOf(tuple(parts))

    def all_of(self, group: str | None) -> Query:
        parts = [self.single(group)]
        while True:
            joined, token = self.takes("and"), self.peek()
            if not joined and (token is None or token["paren"] == ")" or (token["plain"] or "").lower() == "or"):
                return parts[0] if len(parts) == 1 else All(tuple(parts))
            parts.append(self.single(group))

    def single(self, group: str | None) -> Query:
        negations = 0
        while self.takes("not"):
            negations += 1
        part = self.positive(group)
        return Not(part) if negations % 2 else part

    def positive(self, group: str | None) -> Query:
        if self.takes("("):
            return self.closed(group)
        token = self.peek()
        if token is None or token["paren"]:
            raise ValueError(f"search: something is missing in {self.text!r}; a condition looks like family:cover-3")
        self.at += 1
        if token["word"]:
            return condition(token["word"], token["op"], token["value"].strip('"'), group)
        if token["group"]:
            if group is not None or token["group"] not in GROUPS:
                raise ValueError(nearest(token["group"], () if group else GROUPS, "search group"))
            self.takes("(")
            return OneOf(token["group"], self.closed(token["group"]))
        raise ValueError(f"search: {token['plain']!r} is no condition; one looks like family:cover-3")

    def closed(self, group: str | None) -> Query:
        query = self.any_of(group)
        if not self.takes(")"):
            raise ValueError(f"search: a ) is missing in {self.text!r}")
        return query


def _tokens(text: str) -> list[re.Match[str]]:
    tokens, at = [], 0
    while text[at:].strip():
        token = _TOKEN.match(text, at)
        if token is None:
            raise ValueError(f"search: cannot read {text[at:].strip()!r}")
        tokens.append(token)
        at = token.end()
    return tokens


def condition(name: str, op: str, value: str, group: str | None = None) -> Query:
    """One checked condition. Raises ValueError with the nearest valid words."""
    possible = FIELDS if group is None else GROUPS[group]
    if name not in possible:
        raise ValueError(nearest(name, possible, "search field"))
    field = FIELDS[name]
    if op in (":", "="):
        if field.kind == "number" and ".." in value:
            return Condition(name, "..", _range(name, value))
        return Condition(name, ":", tuple(_checked(name, word) for word in value.split(",")))
    if op == "!=":
        return Not(Condition(name, ":", tuple(_checked(name, word) for word in value.split(","))))
    if field.kind != "number":
        raise ValueError(f"{name}: has no order, so {op} cannot be asked; write {name}:{value}")
    return Condition(name, op, (_checked(name, value),))


def _range(name: str, value: str) -> tuple[str, str]:
    low, _, high = value.partition("..")
    for end in (low, high):
        if end:
            _checked(name, end)
    if not low and not high:
        raise ValueError(f"{name}: a range needs at least one end, as {name}:7..10")
    return low, high


def _checked(name: str, word: str) -> str:
    field = FIELDS[name]
    if not word:
        raise ValueError(f"{name}: needs a value, as {name}:{(field.words or ('...',))[0]}")
    if word.lower() == NONE:
        return NONE
    if field.kind == "number":
        try:
            if abs(float(word)) < 1e12:
                return word
        except ValueError:
            pass
        raise ValueError(f"{name}: {word!r} is not a number")
    if field.kind == "flag" and word.lower() not in ("yes", "no"):
        raise ValueError(f"{name}: {word!r}, wanted yes or no")
    if field.kind == "word" and word.lower() not in field.words:
        raise ValueError(nearest(word, field.words, name))
    return word.lower() if field.kind in ("word", "flag") else word
