"""The plan for the whole action: one state that its panels look at.

Ways are looked for beside the kernel: coarse ones first, so that something stands on the page
within a second, then all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices import chosen_way, hammer_choice, lead_choice, plan_wishes
from balancekit.instrument.choices.chosen_way import ChosenWay, with_way
from balancekit.instrument.choices.whole_plan import WholePlan, plan_whole
from balancekit.instrument.descriptor import to_files
from balancekit.instrument.model import Instrument
from balancekit.panels.frame import Later, beside

START_AFTER_S = 0.5
# Our own choice: rest of the bench before ways are looked for anew.

USUAL_HOURS = 4.0

LOOKING = "Looking for ways: the first in about a second."

_BOUND_BY = (hammer_choice.CHAPTER, lead_choice.CHAPTER, plan_wishes.CHAPTER)


class PlanDesk(traitlets.HasTraits):
    """The ways of the readings in hand, the hours there are, and the ways that are pinned.

    Traits
    ------
    plan : the ways; None before they are found.
    state : what is going on, in words; "" when all is there.
    hours : hours there are; 0 for none given, then the way to start from is in hand.
    pinned : numbers of ways that are kept for comparing.
    """

    plan = traitlets.Instance(WholePlan, allow_none=True)
    state = traitlets.Unicode("")
    hours = traitlets.Float(0.0)
    pinned = traitlets.Tuple()

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self._run: object = None
        self._asked = ""
        self._later = Later(START_AFTER_S, self.start)
        bench.observe(lambda _: self._ask(), ["instrument", "visit"])
        self._ask()

    def _rests_on(self) -> str:
        """Return all that the ways depend on, as one text that changes when it does."""
        instrument = self.bench.instrument
        choices = {n: c for n, c in instrument.choices.items() if n in _BOUND_BY}
        bare = replace(instrument, choices=choices, chapter_notes={}, notes=(), title="")
        marks = sorted((n, hash(data)) for n, data in to_files(bare).items())
        return repr((self.bench.visit, marks, self.done))

    def _ask(self) -> None:
        asked = self._rests_on()
        if asked != self._asked:
            self._asked = asked
            self._run = None  # what is looked for is of another piano
            self.state = LOOKING
            self._later.ask()

    def start(self) -> None:
        """Look for the ways of the readings in hand: a few first, then all."""
        run = self._run = object()
        self.plan, self.pinned = None, ()
        self.state = LOOKING
        self._find(run, self.bench.instrument, self.bench.visit, short=True)

    def _find(self, run: object, instrument: Instrument, visit: int, *, short: bool) -> None:
        follow = chosen_way.chosen_way(instrument) if self.done else None

        def work() -> WholePlan | BalancekitError:
            try:
                return plan_whole(instrument, visit, short=short, follow=follow)
            except BalancekitError as error:
                return error

        def done(found: WholePlan | BalancekitError) -> None:
            if run is not self._run:
                return
            if isinstance(found, BalancekitError):
                self.state = f"There is no plan yet. {found.problems[0]}"
                return
            self.state = "These are the first ways. All of them in some seconds." if short else ""
            self.plan = found
            if short:
                self._find(run, instrument, visit, short=False)

        def failed(why: str) -> None:
            self.state = why

        beside(work, done, failed)

    @property
    def done(self) -> tuple[int, ...]:
        """Keys whose work is ticked as done, by the chosen way."""
        try:
            way = chosen_way.chosen_way(self.bench.instrument)
        except BalancekitError:
            return ()
        return () if way is None else way.done

    @property
    def number(self) -> int:
        """The way in hand: the best within the hours, or the one to start from."""
        plan: WholePlan | None = self.plan
        assert plan is not None
        return plan.default if self.hours <= 0 else plan.front.within(60 * float(self.hours))

    def pin(self) -> None:
        """Keep the way in hand for comparing."""
        if self.plan is not None and self.number not in self.pinned:
            self.pinned = (*self.pinned, self.number)

    def unpin(self) -> None:
        """Keep no way for comparing."""
        self.pinned = ()

    def choose(self) -> None:
        """Choose the way in hand: sheets, prediction and proof follow it; undo takes it back."""
        if self.plan is None:
            return
        chosen = self.plan.chosen(self.number)
        self.bench.change(with_way(self.bench.instrument, chosen))

    @property
    def way(self) -> ChosenWay | None:
        """The way that was chosen; None if none was, or if it cannot be read."""
        try:
            return chosen_way.chosen_way(self.bench.instrument)
        except BalancekitError:
            return None

    def tick(self, keys: tuple[int, ...]) -> None:
        """Keep which keys' work is done."""
        way = self.way
        if way is not None:
            self.bench.change(with_way(self.bench.instrument, way.with_done(keys)))

    def when_changed(self, call: Callable[[], None], *names: str) -> None:
        """Call a view now and whenever one of the traits changes."""
        self.observe(lambda _: call(), list(names or ("plan", "state", "hours", "pinned")))
        call()


def plan_desk(bench: Bench) -> PlanDesk:
    """Return the desk of a bench, always the same one."""
    return bench.desk(PlanDesk)
