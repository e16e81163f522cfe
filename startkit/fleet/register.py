"""The register: the state of every machine of the fleet, as display-ready parts for screen and
paper.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

from startkit.fleet import baseline_comparison, figures
from startkit.fleet.folder import Fleet
from startkit.fleet.register_tables import (
    STATES,
    UNDATED,
    Part,
    day_of,
    few,
    is_released,
    item_count,
    record_cells,
    several,
    state_of,
    table,
)
from startkit.fleet.summary import Summary
from startkit.procedure.holds import HOLDS

SOON = 60  # days before its due date that an instrument is listed
MOST_ITEMS = 400  # beyond it, open items are one line for each owner and machine
_FAULT = "Cannot be read"


class Register:
    """The fleet's register on one day.

    Parameters
    ----------
    fleet : Fleet
    summaries : sequence
        Of every job, from `startkit.fleet.index`.
    as_of : datetime.date
        For ages and due dates.
    """

    def __init__(self, fleet: Fleet, summaries: Sequence[Summary], as_of: date) -> None:
        self.fleet, self.as_of = fleet, as_of
        self.jobs = [s for s in summaries if not s["fault"]]
        self.faults = [s for s in summaries if s["fault"]]

    # --- parts --------------------------------------------------------------------------------

    def front(self) -> Part:
        """The fleet at a glance: how many machines, and how far each hold point is cleared."""
        by_state = defaultdict(list)
        for job in self.jobs:
            by_state[state_of(job)].append(job["tag"])
        rows = [
            [state, str(len(by_state[state])), few(by_state[state])]
            for state in STATES
            if by_state[state]
        ]
        newest = max((job["last"] for job in self.jobs), default="")
        facts = [
            ("Fleet", self.fleet.name),
            ("Company", self.fleet.company),
            ("As of", self.as_of.isoformat()),
            ("Jobs", str(len(self.jobs) + len(self.faults))),
            ("Machines", str(len(baseline_comparison.machines(self.jobs)))),
            ("Newest entry", newest[:16].replace("T", " ")),
        ]
        return self._part(
            "front",
            "Fleet register",
            "The state of every machine, the open items and their owners.",
            [
                table(
                    "Machines by the last hold point that is clear",
                    ("State", "Jobs", "Which"),
                    rows,
                    numbers=(1,),
                ),
                self._holds(),
                table(_FAULT, ("Job", "Why"), [[s["job"], s["fault"]] for s in self.faults]),
            ],
            facts=[(name, value) for name, value in facts if value],
        )

    def _holds(self) -> Part:
        rows = []
        for hold in HOLDS:
            states = [h for job in self.jobs for h in job["holds"] if h["hold"] == hold.name]
            clear = sum(h["clear"] for h in states)
            rows.append(
                [
                    hold.clear,
                    str(clear),
                    str(sum(is_released(h) for h in states)),
                    str(len(states) - clear),
                    str(sum(h["in_the_way"] for h in states)),
                    str(sum(bool(h["early"]) for h in states)),
                ]
            )
        return table(
            "Hold points",
            ("Hold point", "Clear", "Released", "Not clear", "Items in the way", "Jobs gone early"),
            rows,
            numbers=(1, 2, 3, 4, 5),
        )

    def machines(self) -> Part:
        """One line for each job."""
        rows = [
            [
                job["tag"],
                job["plant"],
                job["serial"],
                job["refrigerant"],
                job["work"],
                state_of(job),
                job["next"]["title"] or job["next"]["what"],
                str(sum(item_count(item) for item in job["open"])),
                job["last"][:10],
                job["last_who"],
            ]
            for job in sorted(self.jobs, key=lambda j: (j["plant"], j["tag"], j["last"]))
        ]
        heads = (
            "Machine",
            "Plant",
            "Serial number",
            "Refrigerant",
            "Work",
            "State",
            "Next",
            "Open",
            "Last entry",
            "By",
        )
        return self._part(
            "machines",
            "Machines",
            "State is the last clear hold point; next is the first stage not settled.",
            [table("Jobs", heads, rows, numbers=(7,))],
        )

    def open_items(self) -> Part:
        """What is not settled, by owner and age."""
        items = [
            (job["tag"], item, self._age(item["since"]))
            for job in self.jobs
            for item in job["open"]
        ]
        items.sort(key=lambda found: (found[1]["owner"].lower(), -found[2], found[0]))
        counts: dict[str, list[tuple[str, Part, int]]] = defaultdict(list)
        for found in items:
            counts[found[1]["owner"]].append(found)
        owners = [
            [
                owner or "no owner named",
                str(sum(item_count(i) for _, i, _ in those)),
                str(max(age for _, _, age in those)),
                str(sum(self._past(i["due"]) for _, i, _ in those)),
            ]
            for owner, those in sorted(counts.items(), key=lambda pair: pair[0].lower())
        ]
        listed = self._each_item(items) if len(items) <= MOST_ITEMS else self._condensed(items)
        return self._part(
            "open_items",
            "Open items",
            "Who owns them and how long they have been open.",
            [
                table(
                    "By owner",
                    ("Owner", "Items", ("Oldest", "days"), "Overdue"),
                    owners,
                    numbers=(1, 2, 3),
                ),
                listed,
            ],
            [
                "An item that was handed over belongs to the person named there. Any other"
                " belongs to the person who made the last entry in its stage, or else to the"
                " technician of the job. Its age counts from the first entry of its stage; for a"
                " stage not begun, from the first entry of the job."
            ],
        )

    def _each_item(self, items: Iterable[tuple[str, Part, int]]) -> Part:
        rows = [
            [
                item["owner"],
                tag,
                item["stage"],
                item["title"],
                f"{item['mark']} {item['outcome']}",
                item["since"],
                str(age),
                self._date(item["due"]),
            ]
            for tag, item, age in items
        ]
        return table(
            "Items",
            ("Owner", "Machine", "Stage", "Item", "Outcome", "Open since", ("Age", "days"), "Due"),
            rows,
            numbers=(6,),
        )

    def _condensed(self, items: Iterable[tuple[str, Part, int]]) -> Part:
        groups: dict[tuple[str, str], list[tuple[Part, int]]] = defaultdict(list)
        for tag, item, age in items:
            groups[item["owner"], tag].append((item, age))
        rows = [
            [
                owner,
                tag,
                str(sum(item_count(i) for i, _ in those)),
                few(list(dict.fromkeys(i["stage"] for i, _ in those)), 4),
                str(max(age for _, age in those)),
            ]
            for (owner, tag), those in groups.items()
        ]
        return table(
            "Items, one line for each owner and machine",
            ("Owner", "Machine", "Items", "Stages", ("Oldest", "days")),
            rows,
            numbers=(2, 4),
            note="Each job's own record lists its items.",
        )

    def instruments(self) -> Part:
        """Instruments whose calibration is due or past, each once, with the jobs that name it."""
        used: dict[str, tuple[Part, list[str]]] = {}
        for job in sorted(self.jobs, key=lambda j: j["last"]):
            for found in job["instruments"]:
                key = found["serial"] or f"{found['tag']} of {job['job']}"
                used[key] = found, [*used.get(key, (found, []))[1], job["tag"]]
        due = sorted(
            (self._days(found["due"]), found["tag"], found, tags)
            for found, tags in used.values()
            if self._days(found["due"]) <= SOON
        )
        rows = [
            [
                tag,
                found["name"],
                found["serial"],
                found["due"] or "no date",
                "" if days == UNDATED else str(days),
                few(list(dict.fromkeys(tags))),
            ]
            for days, tag, found, tags in due
        ]
        return self._part(
            "instruments",
            "Instruments due",
            f"Calibration overdue, due within {SOON} days, or without a date.",
            [
                table(
                    "Instruments",
                    ("Tag", "Description", "Serial number", "Due", "Days left", "Used on"),
                    rows,
                    numbers=(4,),
                ),
            ],
            (
                [f"{len(used) - len(rows)} of {len(used)} instruments are due later."]
                if used
                else ["No job lists any instruments."]
            ),
        )

    def waivers(self) -> Part:
        """What was waived or declared not applicable, by whom and why."""
        rows = [
            [
                job["tag"],
                item["stage"],
                item["title"],
                item["how"],
                item["who"],
                item["when"],
                item["why"],
            ]
            for job in self.jobs
            for item in job["waived"]
        ]
        return self._part(
            "waivers",
            "Limits waived",
            "Each by a named person, with the reason.",
            [table("Waived", ("Machine", "Stage", "Item", "How", "By", "When", "Why"), rows)],
            [] if rows else ["No waivers."],
        )

    def records(self) -> Part:
        """Each job's last record with its digest, and the template that the job was made with."""
        rows = [
            [
                job["tag"],
                job["job"],
                *record_cells(job["record"]),
                job["template"]["name"],
                job["template"]["digest"][:12],
                job["digest"][:16],
            ]
            for job in self.jobs
        ]
        made = Counter(
            (job["template"]["name"], job["template"]["digest"][:12]) for job in self.jobs
        )
        remarks = [
            f"{name} {digest or 'without digest'}: {several(count, 'job', 'jobs')}."
            for (name, digest), count in sorted(made.items())
        ]
        heads = (
            "Machine",
            "Job",
            "Record",
            "Revision",
            "Signed",
            "SHA-256, first half",
            "Template",
            "Its digest",
            "Last entry's digest",
        )
        return self._part(
            "records",
            "Records",
            "The newest record of each job, and which template each job was made with.",
            [table("Records", heads, rows)],
            remarks,
        )

    def figures(self) -> Part:
        """Figures that machines are compared by, as small multiples and in one table."""
        latest = [visits[-1] for visits in baseline_comparison.machines(self.jobs).values()]
        drawn, numbers, remarks = figures.compared(latest, self.fleet.system)
        return self._part(
            "figures",
            "Figures side by side",
            "Each machine's newest figures; the dashed line is the median of the fleet, bars"
            " are ± U with k = 2.",
            [numbers] if numbers else [],
            remarks,
            plots=drawn,
        )

    def baseline(self) -> Part:
        """Each machine's newest visit against its commissioning and its last overhaul."""
        listed, remarks = figures.against_baseline(
            baseline_comparison.comparisons(self.fleet, self.jobs), self.fleet.system
        )
        return self._part(
            "baseline",
            "Against the baseline",
            "Changes since the machine was commissioned or overhauled, at comparable conditions.",
            [listed],
            remarks,
        )

    def charts(self) -> Part:
        """A control chart for each machine and figure with enough visits."""
        drawn, limits, remarks = figures.charted(
            baseline_comparison.charts(self.jobs, figures.KEYS), self.fleet.system
        )
        return self._part(
            "charts",
            "Control charts",
            "Each visit against the scatter of the visits before the newest.",
            [limits] if limits else [],
            remarks,
            plots=drawn,
        )

    # --- pieces -------------------------------------------------------------------------------

    def _part(
        self,
        section: str,
        title: str,
        purpose: str,
        tables: Sequence[Part],
        remarks: Sequence[str] = (),
        facts: Sequence[tuple[str, str]] = (),
        plots: Sequence[Part] = (),
    ) -> Part:
        return {
            "part": "register",
            "section": section,
            "title": title,
            "purpose": purpose,
            "facts": [list(fact) for fact in facts],
            "tables": list(tables),
            "plots": list(plots),
            "remarks": list(remarks),
            "fleet": self.fleet.name,
            "company": self.fleet.company,
            "units": self.fleet.system,
            "paper": self.fleet.paper,
            "as_of": self.as_of.isoformat(),
        }

    def _age(self, since: str) -> int:
        found = day_of(since)
        return max(0, (self.as_of - found).days) if found else 0

    def _days(self, due: str) -> int:
        found = day_of(due)
        return (found - self.as_of).days if found else UNDATED

    def _past(self, due: str) -> bool:
        return bool(due) and UNDATED < self._days(due) < 0

    def _date(self, due: str) -> str:
        return f"{due} (past)" if self._past(due) else due
