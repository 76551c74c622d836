"""Searches against brute force, the language, and the door for SQL."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_reps import clip, rep

from tagger.football.types import Defender, Event, Formation, Interval, Motion, Reading, Situation
from tagger.library import Library, LibraryError, Query, RepRecord, parse
from tagger.library.fields import FIELDS, GROUP_TABLES, GROUPS
from tagger.library.query import All, AnyOf, Condition, Not, OneOf, written

FAMILIES, SLOTS, WORDS, AREAS = ("cover-1", "cover-3"), ("free-safety", "nickel"), ("man", "deep-third"), (None, "left", "middle")
KINDS = ("break", "disguise")


def make_reading(number: int) -> Reading:
    """Every combination of a few values comes up among the reps."""
    family, slot = FAMILIES[number % 2], SLOTS[number // 2 % 2]
    word, area = WORDS[number // 4 % 2], AREAS[number % 3]
    events = tuple(
        Event(kind, "D1", None, 1.0, 2.0, margin, 0.5, "")
        for kind, margin in itertools.islice(zip(KINDS, (0.5 * (number % 5), None), strict=True), number % 3)
    )
    motions = (Motion("O1", "motion", 0.0, 1.0, 3.0, 9.0, "bumped", ""),) if number % 5 == 0 else ()
    features = (("bunch-left",), ("stack-right", "empty"), ())[number % 3]
    formation = None if number % 7 == 0 else Formation("3x1", "left", 1, {}, features, 4, 0.9, "", motions)
    return Reading(
        2.0,
        None,
        5.0,
        {"pass": 1.0},
        {"one-high": 1.0} if number % 4 else {},
        "",
        {family: 1.0},
        "",
        (),
        None,
        formation,
        (
            Defender("D1", slot, (Interval(word, area, 2.0, 5.0, number % 10 / 10, ""),)),
            Defender("D2", "corner", (Interval("rush", None, 2.0, 5.0, 0.9, ""),)),
        ),
        events,
        (),
    )


def make_situation(number: int) -> Situation:
    return Situation(
        None if number % 6 == 0 else number % 4 + 1, float(number % 11), ("left", "right")[number % 2], call=f"call {number % 3}"
    )


COUNT = 60
REPS = {number: (make_situation(number), make_reading(number)) for number in range(COUNT)}


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Library:
    library = Library.open(tmp_path_factory.mktemp("filled"))
    for number, (situation, made) in REPS.items():
        library.save_rep(RepRecord(f"rep-{number}", (clip(f"clip-{number}", made=made),), situation))
    return library


ATOMS: dict[str, Callable[[Situation, Reading], bool]] = {
    "family:cover-3": lambda s, r: "cover-3" in r.family,
    "family!=cover-3": lambda s, r: "cover-3" not in r.family,
    "down:3": lambda s, r: s.down == 3,
    "down:none": lambda s, r: s.down is None,
    "down:1,2": lambda s, r: s.down in (1, 2),
    "down<=2": lambda s, r: s.down is not None and s.down <= 2,
    "distance:3..6": lambda s, r: s.distance_yd is not None and 3 <= s.distance_yd <= 6,
    "distance:..4": lambda s, r: s.distance_yd is not None and s.distance_yd <= 4,
    "distance>7": lambda s, r: s.distance_yd is not None and s.distance_yd > 7,
    "hash:left": lambda s, r: s.hash == "left",
    'call:"call 1"': lambda s, r: s.call == "call 1",
    "call:*2": lambda s, r: s.call is not None and s.call.endswith("2"),
    "shell:none": lambda s, r: not r.shell,
    "set:3x1": lambda s, r: r.formation is not None,
    "feature:bunch": lambda s, r: r.formation is not None and "bunch-left" in r.formation.features,
    "feature:stack-right,bunch-left": lambda s, r: (
        r.formation is not None and bool({"stack-right", "bunch-left"} & {*r.formation.features})
    ),
    "feature:none": lambda s, r: r.formation is None or not r.formation.features,
    "motion:motion": lambda s, r: r.formation is not None and bool(r.formation.motions),
    "answer:bumped": lambda s, r: r.formation is not None and bool(r.formation.motions),
    "event:break": lambda s, r: any(e.kind == "break" for e in r.events),
    "event:none": lambda s, r: not r.events,
    "disguised:yes": lambda s, r: any(e.kind == "disguise" for e in r.events),
    "margin>=1": lambda s, r: any(e.margin_yd is not None and e.margin_yd >= 1 for e in r.events),
    "slot:nickel": lambda s, r: any(d.slot == "nickel" for d in r.defenders),
    "assignment:deep-third": lambda s, r: any(i.assignment == "deep-third" for d in r.defenders for i in d.intervals),
    "defender(slot:nickel area:left)": lambda s, r: any(
        d.slot == "nickel" and i.area == "left" for d in r.defenders for i in d.intervals
    ),
    "defender(assignment:man and not area:none)": lambda s, r: any(
        i.assignment == "man" and i.area is not None for d in r.defenders for i in d.intervals
    ),
    "defender(sure>=0.5 (area:middle or slot:nickel))": lambda s, r: any(
        i.confidence >= 0.5 and (i.area == "middle" or d.slot == "nickel") for d in r.defenders for i in d.intervals
    ),
    "event(event:break margin:1..)": lambda s, r: any(
        e.kind == "break" and e.margin_yd is not None and e.margin_yd >= 1 for e in r.events
    ),
}

Tree = tuple[str, ...] | str
trees: st.SearchStrategy[Tree] = st.recursive(
    st.sampled_from(sorted(ATOMS)),
    lambda inner: st.one_of(
        st.tuples(st.just("not"), inner), st.tuples(st.sampled_from(["and", "or"]), inner, inner)),  # type: ignore[arg-type]
    max_leaves=8,
)


def text_of(tree: Tree) -> str:
    if isinstance(tree, str):
        return tree
    return f"not ({text_of(tree[1])})" if tree[0] == "not" else f"({text_of(tree[1])}) {tree[0]} ({text_of(tree[2])})"


def holds(tree: Tree, situation: Situation, made: Reading) -> bool:
    if isinstance(tree, str):
        return ATOMS[tree](situation, made)
    if tree[0] == "not":
        return not holds(tree[1], situation, made)
    return (all if tree[0] == "and" else any)(holds(part, situation, made) for part in tree[1:])


@pytest.mark.parametrize("atom", sorted(ATOMS))
def test_each_condition_finds_what_brute_force_finds(filled: Library, atom: str) -> None:
    wanted = {f"rep-{number}" for number, (situation, made) in REPS.items() if ATOMS[atom](situation, made)}
    assert {found.name for found in filled.search(atom)} == wanted
    assert 0 < len(wanted) < COUNT


@settings(max_examples=150, deadline=None)
@given(tree=trees)
def test_and_or_not_find_what_brute_force_finds(filled: Library, tree: Tree) -> None:
    wanted = {f"rep-{number}" for number, (situation, made) in REPS.items() if holds(tree, situation, made)}
    assert {found.name for found in filled.search(text_of(tree))} == wanted
    assert filled.count(text_of(tree)) == len(wanted)


@settings(max_examples=150, deadline=None)
@given(tree=trees)
def test_a_written_query_reads_back_the_same(filled: Library, tree: Tree) -> None:
    query = parse(text_of(tree))
    assert filled.search(written(query)) == filled.search(query)


def test_precedence_is_not_and_or() -> None:
    a, b, c = (Condition("down", ":", (n,)) for n in "123")
    assert parse("down:1 or down:2 and not down:3") == AnyOf((a, All((b, Not(c)))))
    assert parse("down:1 down:2 or down:3") == AnyOf((All((a, b)), c))
    assert parse("  ") == All()
    assert parse("defender(slot:x)") == OneOf("defender", Condition("slot", ":", ("x",)))
    assert parse("NOT down:1 AND down:2") == All((Not(a), b))


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("famly:cover-3", "did you mean family"),
        ("family:cover3", "did you mean cover-3"),
        ("down:two", "not a number"),
        ("down:..", "at least one end"),
        ("(down:1", r"a \) is missing"),
        ("down:1)", r"a \) too many"),
        ("down:1 and", "something is missing"),
        ("not", "something is missing"),
        ("cover-3", "is no condition"),
        ("defender(family:cover-3)", "is not known"),
        ("family>cover-1", "has no order"),
        ("defnder(slot:x)", "did you mean defender"),
        ("defender(event(margin>1))", "is not known"),
        ("disguised:maybe", "yes or no"),
        ("down:nan", "not a number"),
        ("down:inf", "not a number"),
        ('call:"', "."),
        ("(" * 60 + "down:1" + ")" * 60, "too many brackets"),
        ("down>none", "cannot be compared"),
        ("()", "something is missing"),
    ],
)
def test_what_cannot_be_understood_is_said_in_one_line(filled: Library, text: str, line: str) -> None:
    with pytest.raises(ValueError, match=line) as refused:
        filled.search(text)
    assert "\n" not in str(refused.value)


@settings(max_examples=200, deadline=None)
@given(text=st.text(max_size=60))
def test_any_text_is_a_search_or_a_clear_refusal(filled: Library, text: str) -> None:
    refused: ValueError | None = None
    try:
        filled.search(text)
    except ValueError as error:
        refused = error
    assert not isinstance(refused, LibraryError), refused  # SQLite never sees what is not understood


@settings(max_examples=100, deadline=None)
@given(name=st.sampled_from(sorted(FIELDS)), value=st.text(min_size=1, max_size=20))
def test_any_value_is_only_a_value(filled: Library, name: str, value: str) -> None:
    from tagger.library import condition

    refused: ValueError | None = None
    try:
        filled.search(condition(name, ":", value.encode("utf-8", "replace").decode()))
    except ValueError as error:
        refused = error
    assert not isinstance(refused, LibraryError), refused
    assert filled.count() == COUNT


@pytest.mark.parametrize("text", ["'; DROP TABLE rep; --", '" OR "1"="1', "x' OR '1'='1", "%", "_"])
@pytest.mark.parametrize("name", sorted(n for n, f in FIELDS.items() if f.kind == "text"))
def test_sql_in_a_text_field_is_only_text(filled: Library, name: str, text: str) -> None:
    from tagger.library import condition

    assert filled.search(condition(name, ":", text)) == []
    assert filled.count() == COUNT


def test_search_fields_stand_in_the_schema(library: Library) -> None:
    for field in FIELDS.values():
        library._connection.execute(f"SELECT {field.column} FROM {field.table}")
    for group, names in GROUPS.items():
        for name in names:
            library._connection.execute(f"SELECT {FIELDS[name].column} FROM {GROUP_TABLES[group]}")


def test_orders_limits_and_pages(filled: Library) -> None:
    everyone = [found.name for found in filled.search("")]
    assert [found.name for found in filled.search("", limit=5, offset=10)] == everyone[10:15]
    assert [found.name for found in filled.search("", order="-rep")] == everyone[::-1]
    with pytest.raises(ValueError, match="did you mean confidence"):
        filled.search("", order="confidenc")


def test_words_that_no_rep_has_are_doubted(filled: Library) -> None:
    def doubts(text: str) -> list[str]:
        return filled.doubtful_words(parse(text))

    assert doubts("feature:bnch or slot:nickle") == [
        "feature: 'bnch' is not known; did you mean bunch, bunch-left?",
        "slot: 'nickle' is not known; did you mean nickel?",
    ]
    assert doubts("feature:bunch not slot:nickel family:cover-0 call:*x") == []


def test_saved_searches(library: Library) -> None:
    library.save_search("third and long", "down:3 distance:7..")
    library.save_search("third and long", "down:3 distance:8..")
    assert library.saved_searches() == {"third and long": "down:3 distance:8.."}
    with pytest.raises(LibraryError, match="did you mean third and long"):
        library.saved_search("third and lng")
    with pytest.raises(ValueError, match="not known"):
        library.save_search("bad", "dwn:3")
    library.delete_search("third and long")
    assert library.saved_searches() == {}


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT family, count(*) FROM reps GROUP BY family",
        "WITH a AS (SELECT * FROM events) SELECT count(*) FROM a",
        "SELECT r.rep, d.slot FROM reps r JOIN defenders d USING (rep_id)",
        "SELECT upper(rep) FROM reps ORDER BY 1 LIMIT 3",
        "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 3) SELECT i FROM n",
        "SELECT count(*) FROM corrections",
        "SELECT count(*) FROM assignments a, families f WHERE a.rep_id = f.rep_id",
    ],
)
def test_sql_may_read_the_views(filled: Library, sql: str) -> None:
    columns, rows = filled.sql(sql)
    assert columns
    assert rows


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT * FROM rep",
        "SELECT * FROM rep_reading",
        "SELECT * FROM sqlite_schema",
        "DELETE FROM reps",
        "DELETE FROM rep",
        "DROP TABLE rep",
        "INSERT INTO rep (name) VALUES ('x')",
        "UPDATE rep SET family = 'x'",
        "PRAGMA user_version = 9",
        "ATTACH 'x.sqlite' AS x",
        "VACUUM",
        "SELECT 1; DELETE FROM rep",
        "SELECT load_extension('x')",
        "nonsense",
        "CREATE TEMP TABLE t (a)",
        "BEGIN",
        "SELECT npz FROM clip_arrays",
        "SELECT (SELECT name FROM rep LIMIT 1) FROM reps",
        "",
    ],
)
def test_sql_may_do_nothing_else(filled: Library, sql: str) -> None:
    before = filled.count()
    if sql:
        with pytest.raises(LibraryError, match=r"^SQL: [^\n]*$"):
            filled.sql(sql)
    else:
        assert filled.sql(sql) == ([], [])
    assert filled.count() == before


def test_sql_that_never_ends_is_stopped(filled: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tagger.library.sql_access.TIME_LIMIT_S", 0.2)
    with pytest.raises(LibraryError, match="took longer"):
        filled.sql("WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT count(*) FROM n")


def test_names_of_reps(library: Library) -> None:
    saved = library.save_rep(rep())
    assert library.rep_id("rep-001") == library.rep_id(str(saved.rep_id)) == saved.rep_id
    with pytest.raises(LibraryError, match="did you mean rep-001"):
        library.rep_id("rep-0011")


def test_the_query_type_covers_the_language() -> None:
    assert {kind.__name__ for kind in Query.__args__} == {  # type: ignore[attr-defined]
        "Condition", "All", "AnyOf", "Not", "OneOf"}
