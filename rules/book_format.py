"""The format of the rulebook's files: what may stand in them, and how a file is read strictly."""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic import Field as Setting

from rules.errors import BookError
from rules.facts import Fact, Level, Material, Sport
from rules.spec_faults import describe_fault

try:  # a book is read in a fifth of the time where PyYAML was built with its C reader
    from yaml import CSafeLoader as SafeLoader
except ImportError:
    from yaml import SafeLoader  # type: ignore[assignment] # the same, slower

Scalar = str | bool | int | float
MOST_ROWS = 60
"""Rows a table may have: the rules engine fails where more than 64 fire at once, and hangs from about 500."""
LARGEST_NUMBER = 10_000
"""No number of the book is larger: months and days beyond would leave the calendar."""
LARGEST_PERCENT = 100
Spec = TypeVar("Spec", bound=BaseModel)
FactName = Annotated[Fact, Setting(strict=False)]


class Strict(BaseModel):
    """A part of the book in which nothing unknown may stand."""

    model_config = ConfigDict(extra="forbid", strict=True, populate_by_name=True, allow_inf_nan=False)


class InputSpec(Strict):
    """One input of a table as written."""

    one_of: list[Scalar] = []
    low: float | int | None = Setting(None, alias="from")
    high: float | int | None = Setting(None, alias="to")
    because: str = ""
    derived: bool = False

    @model_validator(mode="after")
    def _has_a_range(self) -> InputSpec:
        if bool(self.one_of) == (self.low is not None and self.high is not None):
            raise ValueError("give either one_of or from and to")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("from must be less than to")
        return self


class RowSpec(Strict):
    """One row as written."""

    id: str = Setting(pattern=r"^[a-z][a-z0-9-]+$")
    when: dict[str, Any] = {}
    gives: dict[str, Scalar] = Setting(min_length=1)
    says: str = Setting(min_length=3)
    source: list[str] = Setting(min_length=1)
    asks: list[FactName] = []
    offers: list[FactName] = []
    policy: str | None = None
    followed: str = ""

    @model_validator(mode="after")
    def _says_when_followed(self) -> RowSpec:
        if bool(self.policy) != bool(self.followed):
            raise ValueError("a row with a policy says in followed what it means where a shop has switched it on")
        return self


class TableSpec(Strict):
    """One table as written."""

    table: str
    title: str
    hit_policy: Literal["unique", "any", "first", "collect"]
    complete: bool = False
    inputs: dict[str, InputSpec]
    facts: dict[FactName, str] = {}
    rows: list[Any] | None = Setting(max_length=MOST_ROWS)

    @model_validator(mode="after")
    def _has_rows(self) -> TableSpec:
        if not self.rows and self.table != OWN:
            raise ValueError("a table needs at least one row")
        return self


class NumberSpec(Strict):
    """A number with unit and source."""

    value: float | int = Setting(ge=0, le=LARGEST_NUMBER)
    unit: str = Setting(min_length=1)
    source: str
    note: str = ""

    @model_validator(mode="after")
    def _is_a_part(self) -> NumberSpec:
        if self.unit == "%" and self.value > LARGEST_PERCENT:
            raise ValueError("a percentage is 100 at the most")
        return self


class LimitSpec(Strict):
    """The range of a fact with unit and source."""

    low: float | int = Setting(ge=0, le=LARGEST_NUMBER)
    high: float | int = Setting(ge=0, le=LARGEST_NUMBER)
    unit: str = Setting(min_length=1)
    source: str
    note: str = ""

    @model_validator(mode="after")
    def _has_an_order(self) -> LimitSpec:
        if self.low >= self.high:
            raise ValueError("low must be less than high")
        return self


class DaySpec(Strict):
    """Which day an inexact date stands for."""

    day: Literal["first", "middle", "last"]
    source: str
    note: str = ""


class PolicySpec(Strict):
    """Published advice a shop may switch on."""

    enabled: bool
    source: str


class HandlingSpec(Strict):
    """What a shop does where a forecast and the chart part."""

    handling: Literal["silent", "tell", "offer"]
    source: str
    note: str = ""


class SourceSpec(Strict):
    """A source with its kind."""

    kind: Literal["practice", "house", "published", "quoted", "memory"]
    cite: str = Setting(min_length=3)


class ValuesSpec(Strict):
    """The content of values.yaml."""

    values: dict[str, NumberSpec]
    limits: dict[str, LimitSpec]
    approximate_days: dict[str, DaySpec]
    policies: dict[str, PolicySpec]
    forecast: dict[Literal["beside_the_chart"], HandlingSpec] = {}
    """Editions from before there were forecasts have none."""


OWN = "own"
"""The table of a shop's own rows, which alone may be empty, or be missing altogether."""
OPTIONAL_TABLES = frozenset({OWN, "advise_strings", "advise_tension"})
"""Tables a book may do without."""
LONGEST_OWN_MONTHS = 60

OUTPUTS: Mapping[str, Mapping[str, tuple[Scalar, ...] | Literal["value", "months"]]] = {
    "stringbed": {
        "stringbed": (
            "natural_gut",
            "synthetic_gut",
            "multifilament",
            "polyester",
            "aramid",
            "hybrid_polyester",
            "hybrid_plain",
        )
    },
    "interval": {"rule": ("per_year", "months", "league"), "ceiling": "value", "first": "value", "last": "value"},
    "interval_unsure": {"take": ("strictest", "ceiling")},
    "others_say": {"ceiling": "value", "hours": "value", "factor": (2,)},
    "due": {"from": ("strung_on", "league_start"), "months": "value", "lead": "value"},
    "latest": {"take": ("row_ceiling",), "months": "value"},
    "label": {"takes": ("label", "chart")},
    "comparable": {"compare": (True, False)},
    "reading": {"measured": ("fine", "risen", "settling", "worn", "dead"), "slipped": (True,)},
    "reading_quality": {"too_close": (True,), "mean": (True,), "compare": (False,)},
    "verdict": {"verdict": ("restring_now", "restring_soon", "play_on")},
    "cautions": {
        "caution": ("arm_pain", "cut_out_soon", "inspect_frame", "slipped_knot", "tension_high", "tension_low")
    },
    "notes": {"note": ("season", "about", "age_unknown")},
    OWN: {"every_months": "months"},
    "advise_strings": {"mains": tuple(Material), "crosses": tuple(Material)},
    "advise_tension": {
        "start": ("middle", "unread"),
        "lower": "value",
        "raise": "value",
        "range": "value",
        "note": ("stiff_string", "kept_inside"),
    },
}
"""What the chain knows how to take from each table."""

YES_NO = (True, False)
NUMBER: Literal["number"] = "number"
WORD: Literal["word"] = "word"
"""A column whose values the book itself names."""
STRINGBEDS = tuple(str(name) for name in OUTPUTS["stringbed"]["stringbed"])
COLUMNS: Mapping[str, Mapping[str, tuple[Scalar, ...] | Literal["number", "word"]]] = {
    OWN: {
        "level": tuple(Level),
        "stringbed": STRINGBEDS,
        "season_known": YES_NO,
        "sport": tuple(Sport),
        "breaks_strings": YES_NO,
        "group": WORD,
    },
    "stringbed": {"mains_material": tuple(Material), "crosses_material": tuple(Material), "hybrid": YES_NO},
    "interval": {"level": tuple(Level), "stringbed": STRINGBEDS, "season_known": YES_NO},
    "interval_unsure": {"plays_unknown": YES_NO, "chart_unknown": YES_NO, "candidates": NUMBER},
    "others_say": {"level": tuple(Level), "stringbed": STRINGBEDS},
    "due": {
        "rule": ("months", "league"),
        "strung_known": YES_NO,
        "fresh_for_season": YES_NO,
        "season_begun": YES_NO,
        "limit_first": YES_NO,
    },
    "latest": {
        "interval_known": YES_NO,
        "strung_known": YES_NO,
        "season_known": YES_NO,
        "ceiling_known": YES_NO,
    },
    "label": {"label_stale": YES_NO, "chart_known": YES_NO, "label_earlier": YES_NO},
    "comparable": {
        "has_baseline": YES_NO,
        "same_instrument": YES_NO,
        "before_stringing": YES_NO,
        "baseline_before_stringing": YES_NO,
    },
    "reading": {
        "kind": ("stiffness", "pounds", "frequency", "deflection", "unnamed"),
        "loss_percent": NUMBER,
        "energy_percent": NUMBER,
        "settling": YES_NO,
        "estimated": YES_NO,
    },
    "reading_quality": {"too_close": YES_NO, "repeats": NUMBER, "instruments_apart": YES_NO},
    "verdict": {
        "broken": YES_NO,
        "measured": ("dead", "worn", "risen", "fine", "settling", "none"),
        "label": ("passed", "near", "ahead", "none"),
        "date": ("passed", "open", "near", "ahead", "none"),
        "latest_passed": YES_NO,
        "symptom": YES_NO,
    },
    "cautions": {
        "arm_pain": YES_NO,
        "broken": YES_NO,
        "verdict": ("restring_now", "restring_soon", "play_on", "need_more"),
        "slipped": YES_NO,
        "highest_tension_lb": NUMBER,
        "lowest_tension_lb": NUMBER,
        "sport": (*Sport, "unnamed"),
    },
    "notes": {"season_named": YES_NO, "strung_approx": YES_NO, "age_unknown": YES_NO},
    "advise_strings": {
        "arm_pain": YES_NO,
        "sport": (*Sport, "unnamed"),
        "breaks_strings": YES_NO,
        "level": tuple(Level),
    },
    "advise_tension": {
        "arm_pain": YES_NO,
        "mains_material": tuple(Material),
        "loss_of_power": YES_NO,
        "loss_of_control": YES_NO,
        "printed_known": YES_NO,
        "outside": YES_NO,
    },
}
"""What the chain tells each table, by column, with the values it may have."""

PLACEHOLDERS: Mapping[str, frozenset[str]] = {
    OWN: frozenset({"every"}),
    "stringbed": frozenset({"mains_material", "crosses_material"}),
    "interval": frozenset({"every", "plays_per_week"}),
    "interval_unsure": frozenset({"every"}),
    "others_say": frozenset({"every"}),
    "due": frozenset({"every", "due", "strung_on", "league_start"}),
    "latest": frozenset({"every", "latest", "strung_on"}),
    "label": frozenset({"label_due", "strung_on"}),
    "comparable": frozenset({"baseline", "reading", "loss_percent"}),
    "reading": frozenset({"loss_percent", "energy_percent", "baseline", "reading"}),
    "reading_quality": frozenset({"repeats", "spread", "losses"}),
    "verdict": frozenset(
        {
            "label_due",
            "chart_due",
            "window_first",
            "overdue",
            "label_overdue",
            "latest",
            "loss_percent",
            "symptoms",
        }
    ),
    "cautions": frozenset({"highest_tension_lb", "lowest_tension_lb"}),
    "notes": frozenset({"season", "strung_named"}),
    "advise_strings": frozenset(),
    "advise_tension": frozenset({"edge_lb"}),
}
"""The values a table's sentences may name in braces, beside the numbers of values.yaml by their names."""

NEEDED_VALUES = (
    "year_months",
    "longest_interval_months",
    "league_fresh_days",
    "league_lead_days",
    "soon_days",
    "worn_loss_percent",
    "dead_loss_percent",
    "dead_energy_percent",
    "energy_per_loss",
    "settling_days",
    "instruments_apart_points",
    "too_close_units",
)
"""Numbers the chain reads by name."""

NEEDED_LIMITS = (
    "plays_per_week",
    "hours_per_play",
    "hours_per_week",
    "tension_lb",
    "deflection",
    "stiffness",
    "pounds",
    "frequency",
    "unnamed_reading",
    "repeats",
    "year",
)
"""Limits that facts are checked against."""

SURPRISING_TAGS = frozenset({"tag:yaml.org,2002:bool", "tag:yaml.org,2002:timestamp"})


class PlainLoader(SafeLoader):
    """YAML without surprises: a key may stand once, and only true and false are booleans."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:  # noqa: FBT001, FBT002 - PyYAML's signature
        """Return the mapping, or raise where a key stands twice."""
        seen: set[str] = set()
        for key in (key.value for key, _ in node.value if isinstance(key, yaml.ScalarNode)):
            if key in seen:
                raise yaml.MarkedYAMLError(
                    problem=f"the key {key!r} stands twice; remove one", problem_mark=node.start_mark
                )
            seen.add(key)
        return super().construct_mapping(node, deep=deep)


PlainLoader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag not in SURPRISING_TAGS]
    for first, resolvers in SafeLoader.yaml_implicit_resolvers.items()
}
PlainLoader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile(r"^(?:true|false)$"), list("tf"))


DEEPEST = 20
"""Brackets within brackets; the reader itself would end the process on some ten thousand."""
LONGEST_TEXT = 500_000
"""Characters of a file of the book; the largest that comes along has 40,000."""


def read_yaml(path: Path, *, aliases: bool = False) -> Any:
    """Return the content of one YAML file of the book.

    Args:
        path: the file.
        aliases: whether a part may be named and repeated; a few lines of that may stand for a million.

    Raises:
        BookError: when the file is missing, not text, or not YAML; names the line.
    """
    try:
        text = path.read_text(encoding="utf-8")
        if len(text) > LONGEST_TEXT:
            raise BookError(path.name, "file", f"is longer than {LONGEST_TEXT} characters; take out what is no rule")
        _check_depth(text, aliases=aliases)
        # The loader is a SafeLoader with stricter keys.
        return yaml.load(text, Loader=PlainLoader)  # noqa: S506
    except OSError as error:
        raise BookError(path.name, "file", f"cannot be read ({error.strerror}); put the file back") from error
    except UnicodeDecodeError as error:
        raise BookError(path.name, "file", "is not UTF-8 text; save it as UTF-8") from error
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        where = f"line {mark.line + 1}" if mark else "file"
        problem = getattr(error, "problem", None) or "is not YAML"
        remedy = "" if ";" in problem else "; check indentation, colons and quotes"
        raise BookError(path.name, where, f"{problem}{remedy}") from error
    except (ValueError, OverflowError) as error:
        raise BookError(path.name, "file", "holds a number too large to be one; write a smaller one") from error


def _check_depth(text: str, *, aliases: bool) -> None:
    """Refuse what the reader would not come back from."""
    depth = 0
    for event in yaml.parse(text, Loader=PlainLoader):
        mark: Any = event.start_mark
        depth += isinstance(event, yaml.CollectionStartEvent) - isinstance(event, yaml.CollectionEndEvent)
        if depth > DEEPEST:
            raise yaml.MarkedYAMLError(problem="too many brackets in one another; take some out", problem_mark=mark)
        if isinstance(event, yaml.AliasEvent) and not aliases:
            problem = f"*{event.anchor} stands for what is written elsewhere; write it out"
            raise yaml.MarkedYAMLError(problem=problem, problem_mark=mark)


def check_spec(file: str, where: str, spec: type[Spec], data: Any) -> Spec:
    """Return the data as the spec, or raise a BookError that names the key."""
    try:
        return spec.model_validate(data)
    except ValidationError as error:
        entry, sentence = describe_fault(error.errors(), where)
        raise BookError(file, entry, sentence) from error
