"""Which columns of the named files each column of a SELECT of the mapping takes its values from.

The parser's tree is followed with the scopes of the engine. What decides on a value without being part of it (a
condition, an order, a group, a count) is not drawn on. What cannot be followed is taken to draw on every column.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from rqa.intake.names import PLACE_COLUMNS
from rqa.store.mapping_sql import parsed

Origins = frozenset[tuple[str, str]]
"""Columns of named files: (name of the files, column), both in lower case."""
NOTHING: Origins = frozenset()
DECIDING = {"COMPARISON", "BETWEEN", "CONJUNCTION", "CONSTANT", "TYPE"}
DECIDING_OPERATORS = {
    "COMPARE_IN", "COMPARE_NOT_IN", "OPERATOR_NOT", "OPERATOR_IS_NULL", "OPERATOR_IS_NOT_NULL",
}
"""Expressions that give true or false."""
COUNTING = {
    "count", "count_star", "count_if", "approx_count_distinct", "length", "len", "row_number", "rank", "dense_rank",
    "percent_rank", "cume_dist", "ntile", "contains", "starts_with", "ends_with", "prefix", "suffix", "regexp_matches",
    "~~", "!~~", "~~*", "!~~*",
}
"""Functions that give how many there are, in which place, or whether."""
OF_FIRST = {"arg_min", "arg_max", "argmin", "argmax", "min_by", "max_by", "arg_min_null", "arg_max_null"}
"""Functions that give their first argument, chosen by the others."""
INNER_JOINS = {"SEMI", "ANTI"}
"""Joins that give the columns of their left side alone."""


def union(parts: Iterable[Origins]) -> Origins:
    """All origins of several parts."""
    return frozenset().union(*parts)


@dataclass(frozen=True)
class Relation:
    """The columns that stand in a FROM clause or come out of a query, in order; `other`: any that is not listed."""

    columns: tuple[tuple[str, Origins], ...] = ()
    other: Origins | None = None

    @property
    def all(self) -> Origins:
        """What its row draws on as a whole."""
        return union([*(origins for _, origins in self.columns), self.other or NOTHING])

    def get(self, name: str) -> Origins | None:
        """What the column of that name draws on; None if there is none."""
        found = [origins for n, origins in self.columns if n == name]
        return union(found) if found else self.other

    def called(self, names: Sequence[str]) -> "Relation":
        """The same with its first columns renamed."""
        if self.other is not None or len(names) > len(self.columns):
            return Relation(tuple((n.lower(), self.all) for n in names), self.all)
        rest = self.columns[len(names) :]
        return Relation((*((n.lower(), o) for n, (_, o) in zip(names, self.columns, strict=False)), *rest))


@dataclass
class Level:
    """What one SELECT can name: the relations of its FROM clause, and its own columns so far."""

    items: list[tuple[str, Relation]] = field(default_factory=list)
    own: dict[str, Origins] = field(default_factory=dict)


@dataclass
class Drawn:
    """What each column of a SELECT draws on, and which columns it holds to be equal."""

    columns: tuple[Origins, ...]
    equal: list[tuple[Origins, Origins]]


def drawn_by(select: str, sets: Mapping[str, Iterable[str]], given: Sequence[str]) -> Drawn:
    """What the columns `given` by a SELECT over named files draw on; `sets` are the columns of each set of files."""
    followed = _Followed(
        {
            of.lower(): Relation(tuple((c.lower(), frozenset({(of.lower(), c.lower())})) for c in columns))
            for of, columns in sets.items()
        }
    )
    tree = parsed(select)
    found = Relation() if isinstance(tree, str) else followed.query(tree["node"], followed.sets, [])
    columns = [o for _, o in found.columns]
    # The engine tells columns of one name apart by a number behind it.
    same = all(of.lower().startswith(name) for of, (name, _) in zip(given, found.columns, strict=False))
    # Beyond its columns stands where a row comes from, where that is told unasked.
    beyond = len(given) - len(columns)
    if not same or (beyond and tuple(given[-beyond:]) != PLACE_COLUMNS):
        return Drawn((followed.everything,) * len(given), followed.equal)
    return Drawn((*columns, *((NOTHING,) * beyond)), followed.equal)


class _Followed:
    """Follows one tree."""

    def __init__(self, sets: dict[str, Relation]) -> None:
        self.sets = sets
        self.everything = union(r.all for r in sets.values())
        self.equal: list[tuple[Origins, Origins]] = []

    def query(self, node: Any, ctes: Mapping[str, Relation], outer: Sequence[Level]) -> Relation:
        """The columns that a query gives."""
        for entry in node["cte_map"]["map"]:
            body = entry["value"]
            made = self.query(body["query_node"], ctes, outer)
            ctes = {**ctes, entry["key"].lower(): made.called(body.get("aliases") or ())}
        kind = node["type"]
        if kind == "SELECT_NODE":
            return self._select(node, ctes, outer)
        if kind == "SET_OPERATION_NODE":
            parts = [self.query(child, ctes, outer) for child in node["children"]]
            return self._by_name(parts) if node["setop_type"] == "UNION_BY_NAME" else self._by_place(parts)
        if kind == "RECURSIVE_CTE_NODE":
            found = self.query(node["left"], ctes, outer).called(node.get("aliases") or ())
            while True:
                inner = {**ctes, node["cte_name"].lower(): found}
                more = self._by_place([found, self.query(node["right"], inner, outer)])
                if more == found:
                    return found
                found = more
        return Relation(other=self.everything)

    def _by_place(self, parts: Sequence[Relation]) -> Relation:
        if len({len(p.columns) for p in parts}) > 1 or any(p.other is not None for p in parts):
            every = union(p.all for p in parts)
            return Relation(tuple((n, every) for n, _ in parts[0].columns), every)
        columns = zip(*(p.columns for p in parts), strict=True)
        return Relation(tuple((of[0][0], union(o for _, o in of)) for of in columns))

    def _by_name(self, parts: Sequence[Relation]) -> Relation:
        names = list(dict.fromkeys(n for p in parts for n, _ in p.columns))
        others = [p.other for p in parts if p.other is not None]
        columns = tuple((n, union(p.get(n) or NOTHING for p in parts)) for n in names)
        return Relation(columns, union(others) if others else None)

    def _select(self, node: Any, ctes: Mapping[str, Relation], outer: Sequence[Level]) -> Relation:
        level = Level()
        scope = [level, *outer]
        twice = self._from(node["from_table"], ctes, scope)
        columns: list[tuple[str, Origins]] = []
        for item in node["select_list"]:
            if item["class"] == "STAR":
                given = self._star(item, twice, ctes, scope)
                if given is None:
                    return Relation(other=self.everything)
                columns += given
                continue
            origins = self.values(item, ctes, scope)
            name = (item["alias"] or (item.get("column_names") or [""])[-1]).lower()
            columns.append((name, origins))
            if name:
                level.own[name] = level.own.get(name, NOTHING) | origins
        for part in ("where_clause", "having", "qualify"):
            self._held_equal(node[part], ctes, scope)
        # A column without a name here is called by the engine in a way of its own.
        return Relation(tuple(columns), union(o for n, o in columns if not n) or None)

    def _star(
        self, item: Any, twice: frozenset[str], ctes: Mapping[str, Relation], scope: list[Level]
    ) -> list[tuple[str, Origins]] | None:
        """The columns of a star; None if they cannot be told."""
        wanted = item.get("relation_name", "").lower()
        met = [(a, r) for a, r in scope[0].items if not wanted or a == wanted]
        if item.get("columns") or item.get("expr") or not met or any(r.other is not None for _, r in met):
            return None
        left_out = {str(name).lower().strip('"') for name in item.get("exclude_list", ())}
        changed = {r["key"].lower(): self.values(r["value"], ctes, scope) for r in item.get("replace_list", ())}
        renamed = {str(r["key"]["column"]).lower(): r["value"].lower() for r in item.get("rename_list", ())}
        columns: list[tuple[str, Origins]] = []
        for _, relation in met:
            for name, origins in relation.columns:
                merged = not wanted and name in twice and any(n == name for n, _ in columns)
                if name not in left_out and not merged:
                    columns.append((renamed.get(name, name), changed.get(name, origins)))
                elif merged:
                    columns = [(n, o | origins if n == name else o) for n, o in columns]
        return columns

    def _from(self, ref: Any, ctes: Mapping[str, Relation], scope: list[Level]) -> frozenset[str]:
        """Put what a FROM clause gives into the first level; returns the columns that joins have made one."""
        kind, level = ref["type"], scope[0]
        if kind == "JOIN":
            twice = self._from(ref["left"], ctes, scope)
            before = list(level.items)
            twice |= self._from(ref["right"], ctes, scope)
            self._held_equal(ref.get("condition"), ctes, scope)
            left, right = ([r for _, r in items] for items in (before, level.items[len(before) :]))
            using = {str(c).lower() for c in ref.get("using_columns") or ()}
            if ref.get("ref_type") == "NATURAL":
                using = {n for r in left for n, _ in r.columns} & {n for r in right for n, _ in r.columns}
            for name in using:
                self.equal.append(tuple(union(r.get(name) or NOTHING for r in side) for side in (left, right)))  # type: ignore[arg-type]  # two sides
            if ref.get("join_type") in INNER_JOINS:
                level.items = before
            return twice | using
        if kind == "EMPTY":
            return frozenset()
        alias, names = ref.get("alias", "").lower(), ref.get("column_name_alias") or ()
        if kind == "BASE_TABLE":
            name = ref["table_name"].lower()
            found, alias = ctes.get(name, Relation(other=self.everything)), alias or name
        elif kind == "SUBQUERY":
            found = self.query(ref["subquery"]["node"], ctes, scope)
        else:
            # Rows made of values: whatever stands in them may be in each of their columns.
            every = self.values([v for k, v in ref.items() if k != "type"], ctes, scope)
            found = Relation(other=every)
        level.items.append((alias, found.called(names) if names else found))
        return frozenset()

    def _held_equal(self, condition: Any, ctes: Mapping[str, Relation], scope: list[Level]) -> None:
        """Note what a condition says to be equal."""
        waiting = [condition]
        while waiting:
            part = waiting.pop()
            if isinstance(part, list):
                waiting += part
            elif isinstance(part, dict):
                sides: list[Any] = []
                if part.get("type") in ("COMPARE_EQUAL", "COMPARE_NOT_DISTINCT_FROM"):
                    sides = [part["left"], part["right"]]
                elif part.get("type") == "COMPARE_IN":
                    sides = [part["children"][0], part["children"][1:]]
                elif part.get("class") == "SUBQUERY" and part.get("child"):
                    self.equal.append(
                        (self.values(part["child"], ctes, scope), self.query(part["subquery"]["node"], ctes, scope).all)
                    )
                if sides:
                    self.equal.append((self.values(sides[0], ctes, scope), self.values(sides[1], ctes, scope)))
                waiting += [v for k, v in part.items() if k != "subquery"]

    def values(self, part: Any, ctes: Mapping[str, Relation], scope: list[Level]) -> Origins:
        """What the value of an expression is made of."""
        if isinstance(part, list):
            return union(self.values(p, ctes, scope) for p in part)
        if not isinstance(part, dict):
            return NOTHING
        kind, name = part.get("class"), str(part.get("function_name", "")).lower()
        if kind in DECIDING or part.get("type") in DECIDING_OPERATORS:
            return NOTHING
        if kind == "COLUMN_REF":
            return self._column([n.lower() for n in part["column_names"]], scope)
        if kind == "STAR":
            return NOTHING if name == "count" else union(r.all for _, r in scope[0].items)
        if kind == "CASE":
            return self.values([[c["then_expr"] for c in part["case_checks"]], part["else_expr"]], ctes, scope)
        if kind == "SUBQUERY":
            scalar = part["subquery_type"] == "SCALAR"
            made = self.query(part["subquery"]["node"], ctes, scope).all
            return made if scalar else NOTHING
        if kind in ("FUNCTION", "WINDOW"):
            given = part["arguments"]
            return NOTHING if name in COUNTING else self.values(given[:1] if name in OF_FIRST else given, ctes, scope)
        if kind == "LAMBDA":
            named = Level(own={n.lower(): NOTHING for n in _names_in(part.get("lhs"))})
            return self.values(part.get("expr"), ctes, [named, *scope])
        return self.values(list(part.values()), ctes, scope)

    def _column(self, names: Sequence[str], scope: Sequence[Level]) -> Origins:
        first, *rest = names
        for level in scope:
            whole = [r for alias, r in level.items if alias == first]
            if rest and whole:
                return union(found if (found := r.get(rest[0])) is not None else r.all for r in whole)
            met = [o for _, r in level.items if (o := r.get(first)) is not None] or [r.all for r in whole]
            if first in level.own:
                met.append(level.own[first])
            if met:
                return union(met)
        return self.everything


def _names_in(part: Any) -> list[str]:
    """The names that stand in the head of a lambda."""
    if isinstance(part, list):
        return [n for p in part for n in _names_in(p)]
    if isinstance(part, dict):
        return [*part.get("column_names", ()), *(n for v in part.values() for n in _names_in(v))]
    return []
