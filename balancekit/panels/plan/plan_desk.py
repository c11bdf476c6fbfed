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
from balancekit.instrument.occasion import Occasion
from balancekit.panels.frame import Later, beside, from_beside

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
    state : what is going on, or what went wrong, in words; "" when all is there.
    looks : whether ways are being looked for.
    share : of the ways, how much is done while they are looked for, 0 to 1.
    hours : hours there are; 0 for none given, then the way to start from is in hand.
    pinned : numbers of ways that are kept for comparing.
    """

    plan = traitlets.Instance(WholePlan, allow_none=True)
    state = traitlets.Unicode("")
    looks = traitlets.Bool(False)
    share = traitlets.Float(0.0)
    hours = traitlets.Float(0.0)
    pinned = traitlets.Tuple()

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self._run: object = None
        self._asked = ""
        self._later = Later(START_AFTER_S, self.start)
        bench.observe(lambda _: self._ask(), ["instrument", "visit"])
        self._asked = self._rests_on()
        self.start()

    def _rests_on(self) -> str:
        """Return all that the ways depend on, as one text that changes when it does."""
        instrument = self.bench.instrument
        choices = {n: c for n, c in instrument.choices.items() if n in _BOUND_BY}
        bare = replace(instrument, choices=choices, chapter_notes={}, notes=(), title="")
        marks = sorted((n, hash(data)) for n, data in to_files(bare).items())
        return repr((self.bench.visit, self.bench.usual_number, marks, self.done))

    def _ask(self) -> None:
        asked = self._rests_on()
        if asked != self._asked:
            self._asked = asked
            self._run = None  # what is looked for is of another piano
            self.state, self.looks = LOOKING, True
            self._later.ask()

    def start(self) -> None:
        """Look for the ways of the readings in hand: a few first, then all."""
        run = self._run = object()
        self.pinned, self.plan = (), None
        self.state, self.looks = LOOKING, True
        self._find(run, self.bench.occasion(self.bench.visit), short=True)

    def _find(self, run: object, occasion: Occasion, *, short: bool) -> None:
        way = self.way
        follow = way if way is not None and way.begun else None
        self.share = 0.0
        told = from_beside(lambda share: self._progress(run, share))

        def work() -> WholePlan | BalancekitError:
            try:
                return plan_whole(occasion.instrument, occasion.visit, occasion=occasion,
                                  short=short, follow=follow, done=told)  # fmt: skip
            except BalancekitError as error:
                return error

        def done(found: WholePlan | BalancekitError) -> None:
            if run is not self._run:
                return
            if isinstance(found, BalancekitError):
                failed(f"There is no plan yet. {found.problems[0]}")
                return
            self.plan = found
            self.state = "These are the first ways. All of them in some seconds." if short else ""
            self.looks = short
            if short:
                self._find(run, occasion, short=False)

        def failed(why: str) -> None:
            if run is self._run:
                self.state, self.looks = why, False

        beside(work, done, failed)

    def _progress(self, run: object, share: float) -> None:
        if run is self._run:
            self.share = min(max(share, 0.0), 1.0)

    @property
    def done(self) -> tuple[object, ...]:
        """What is ticked as done of the chosen way: whether its levers are, and keys."""
        way = self.way
        return (way.levers_moved, *way.done) if way is not None and way.begun else ()

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

    def tick(self, keys: tuple[int, ...], levers_moved: bool = False) -> None:
        """Keep which keys' work is done, and whether the levers are moved."""
        way = self.way
        if way is not None:
            done = way.with_done(keys, levers_moved)
            self.bench.change(with_way(self.bench.instrument, done))

    def when_changed(self, call: Callable[[], None], *names: str) -> None:
        """Call a view now and whenever one of the traits changes."""
        self.observe(lambda _: call(), list(names))
        call()

    def when_found(self, call: Callable[[], None]) -> None:
        """Call a view now, for each plan once, and where there is none for each state."""
        self.when_changed(call, "plan")
        self.observe(lambda _: call() if self.plan is None else None, "state")


def plan_desk(bench: Bench) -> PlanDesk:
    """Return the desk of a bench, always the same one."""
    return bench.desk(PlanDesk)
