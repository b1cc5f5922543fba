"""The split as a constraint model: whole numbers only, one worker, the same answer each time.

Of each way of a line, between its least and its most packs are bought or none; together they cover
the need, and no pack could stay away. A supplier in use reaches its least order; its carriage is off
when its parts reach the value from which it is free.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from graftbook.closure.search.constrain import cp, new_solver
from graftbook.closure.search.deadline import Deadline
from graftbook.orders.buying.offers import Choices, Way
from graftbook.orders.buying.split_start import Packs, Picks

LARGEST_OBJECTIVE = 1 << 48
"""Weighted objectives stay below this, far from where whole numbers of the solver end."""

LARGEST_SUM = 1 << 60
"""Above this no sum of the model is safe."""


@dataclass(frozen=True, slots=True)
class SplitSolved:
    """What the solver found: `picks` None when nothing; `bound` no valid split costs less."""

    picks: Picks | None
    proved: bool
    impossible: bool = False
    bound: int = 0


@dataclass(frozen=True, slots=True)
class _Piece:
    """The variables of one way: whether it is used, and the packs beyond its least."""

    way: Way
    used: Any
    more: Any

    def pieces(self) -> Any:
        pack = self.way.offer.pack
        return self.used * (self.way.least * pack) + self.more * pack

    def value(self) -> Any:
        price = self.way.pack_price
        return self.used * (self.way.least * price) + self.more * price


class SplitModel:
    """A split of `choices` with at most so many suppliers; `whole`: no line may be left out.

    Raises ValueError when the sums of the order are too large to reason over.
    """

    def __init__(self, choices: Choices, at_most: int | None = None, whole: bool = True) -> None:
        self.choices = choices
        self.model = cp().CpModel()
        self.largest, self.every = self._sums()
        if self.every > LARGEST_SUM:
            raise ValueError("the sums of this order are too large to reason over")
        self.in_use = {name: self.model.new_bool_var("") for name in choices.suppliers}
        self.late = {day: self.model.new_bool_var("") for day in choices.days}
        self.pieces: dict[str, list[_Piece]] = {}
        self.left_out: dict[str, Any] = {}
        for name in choices.ways:
            self._add_line(name, whole)
        self._order_days()
        self.free: dict[str, Any] = {}
        self.values = self._values()
        for name in choices.suppliers:
            self._add_supplier(name)
        if at_most is not None:
            self.model.add(sum(self.in_use.values()) <= at_most)

    def _sums(self) -> tuple[int, int]:
        """No valid split costs more than the first; buying the most of every way costs the second."""
        every = largest = sum(supplier.carriage for supplier in self.choices.suppliers.values())
        for name, ways in self.choices.ways.items():
            pieces = self.choices.needs[name] + max(way.most_left_over(way.least) for way in ways)
            largest += pieces * max(way.offer.price for way in ways)
            every += sum(way.pack_price * way.most for way in ways)
        return largest, every

    # Building ---------------------------------------------------------------------------------

    def _add_line(self, name: str, whole: bool) -> None:
        needed = self.choices.needs[name]
        self.pieces[name] = pieces = [self._piece(way) for way in self.choices.ways[name]]
        used = [piece.used for piece in pieces]
        if not whole:
            self.left_out[name] = self.model.new_bool_var("")
            used.append(self.left_out[name])
        if all(piece.way.least * piece.way.offer.pack >= needed for piece in pieces):
            self.model.add_exactly_one(used)
            return
        self.model.add_bool_or(used)
        bought = sum(piece.pieces() for piece in pieces)
        if whole:
            self.model.add(bought >= needed)
        else:
            self.model.add(bought + needed * self.left_out[name] >= needed)
            for piece in pieces:
                self.model.add_implication(piece.used, ~self.left_out[name])
        for piece in pieces:
            self._spare_no_pack(piece, bought, needed)

    def _piece(self, way: Way) -> _Piece:
        used = self.model.new_bool_var("")
        self.model.add_implication(used, self.in_use[way.offer.supplier])
        self.model.add_implication(used, self.late[way.arrives])
        beyond = way.most - way.least
        if not beyond:
            return _Piece(way, used, 0)
        more = self.model.new_int_var(0, beyond, "")
        self.model.add(more <= beyond * used)
        return _Piece(way, used, more)

    def _spare_no_pack(self, piece: _Piece, bought: Any, needed: int) -> None:
        """Where the surplus is a pack or more of a way, that pack (or the whole way) can stay away."""
        way = piece.way
        self.model.add(bought <= needed + way.most_left_over(way.least)).only_enforce_if(piece.used)
        if way.least > 1 and way.most > way.least:
            beyond = self.model.new_bool_var("")
            self.model.add(piece.more <= (way.most - way.least) * beyond)
            self.model.add(bought <= needed + way.most_left_over(way.most)).only_enforce_if(beyond)

    def _order_days(self) -> None:
        """`late[day]`: something comes that day or later."""
        days = list(self.late)
        for earlier, later in pairwise(days):
            self.model.add_implication(self.late[later], self.late[earlier])

    def _values(self) -> dict[str, Any]:
        values: dict[str, list[Any]] = {name: [] for name in self.choices.suppliers}
        for pieces in self.pieces.values():
            for piece in pieces:
                values[piece.way.offer.supplier].append(piece.value())
        return {name: sum(some) if some else None for name, some in values.items()}

    def _add_supplier(self, name: str) -> None:
        supplier, value = self.choices.suppliers[name], self.values[name]
        if value is None or supplier.least_order > self.largest:
            self.model.add(self.in_use[name] == 0)
            return
        if supplier.least_order:
            self.model.add(value >= supplier.least_order * self.in_use[name])
        free_from = supplier.carriage_free_from
        if supplier.carriage and free_from is not None and free_from <= self.largest:
            self.free[name] = free = self.model.new_bool_var("")
            self.model.add_implication(free, self.in_use[name])
            self.model.add(value >= free_from * free)

    # Solving ----------------------------------------------------------------------------------

    def possible(self, until: Deadline) -> bool | None:
        """Whether any split obeys everything; None when time ran out."""
        self.model.clear_objective()
        _, status = self._run(until)
        return None if status == cp().UNKNOWN else status != cp().INFEASIBLE

    def fewest_left_out(self, until: Deadline) -> int | None:
        """The least number of lines that stay unsupplied, which then is fixed; None when not proved."""
        return self._fix_least(sum(self.left_out.values()), until)

    def fewest_suppliers(self, until: Deadline) -> int | None:
        """The least number of suppliers, which then is fixed; None when not proved."""
        return self._fix_least(sum(self.in_use.values()), until)

    def _fix_least(self, counted: Any, until: Deadline) -> int | None:
        self.model.minimize(counted)
        solver, status = self._run(until)
        if status != cp().OPTIMAL:
            return None
        least: int = round(solver.objective_value)
        self.model.add(counted <= least)
        self._hint(self._picks(solver))
        return least

    def cheapest(
        self, until: Deadline, first: Picks | None = None, at_most: int | None = None
    ) -> SplitSolved:
        """The split that costs least; of equal ones fewer suppliers, earlier arrival, earlier names.

        `at_most`: one that costs more is of no use; where there is no other, it is impossible.
        """
        ties, ties_most = self._ties()
        weight = ties_most + 1
        if self.largest * weight > LARGEST_OBJECTIVE or self.every * weight > LARGEST_SUM:
            weight = 1
        unit = max(1, -(-self.largest * weight // LARGEST_OBJECTIVE))
        cost = self._cost(unit, weight)
        if at_most is not None:
            self.model.add(cost <= at_most // unit * weight)
        self.model.minimize(cost + (ties if weight > 1 else 0))
        if first is not None:
            self._hint(first)
        solver, status = self._run(until)
        if status in (cp().INFEASIBLE, cp().UNKNOWN):
            return SplitSolved(None, False, status == cp().INFEASIBLE)
        bound = -(-(int(solver.best_objective_bound) - weight + 1) // weight) * unit
        return SplitSolved(self._picks(solver), status == cp().OPTIMAL and unit == 1, bound=max(bound, 0))

    def _cost(self, unit: int, weight: int) -> Any:
        """Parts and carriage in whole units, rounded down; a unit is one minor unit where sums allow."""
        terms = []
        for pieces in self.pieces.values():
            for piece in pieces:
                price, least = piece.way.pack_price, piece.way.least
                terms.append(piece.used * (price * least // unit * weight))
                terms.append(piece.more * (price // unit * weight))
        for name, supplier in self.choices.suppliers.items():
            charge = supplier.carriage // unit * weight
            terms.append(self.in_use[name] * charge)
            if name in self.free:
                terms.append(self.free[name] * -charge)
        return sum(terms)

    def _ties(self) -> tuple[Any, int]:
        """What decides between splits of one cost, and the most that it comes to."""
        suppliers, days = len(self.in_use), len(self.late)
        names = suppliers * (suppliers + 1) // 2
        ranks = sum(rank * used for rank, used in enumerate(self.in_use.values(), 1))
        ties = (
            sum(self.in_use.values()) * ((days + 1) * (names + 1))
            + sum(self.late.values()) * (names + 1)
            + ranks
        )
        return ties, (suppliers + 1) * (days + 1) * (names + 1)

    def _run(self, until: Deadline) -> tuple[Any, int]:
        solver = new_solver(until.left())
        solver.parameters.max_presolve_iterations = 1
        return solver, solver.solve(self.model)

    def _hint(self, picks: Picks) -> None:
        self.model.clear_hints()
        in_use = set(picks.parts())
        for name, variable in self.in_use.items():
            self.model.add_hint(variable, name in in_use)
        for name, pieces in self.pieces.items():
            packs = picks.get(name, {})
            for piece in pieces:
                count = packs.get(piece.way, 0)
                self.model.add_hint(piece.used, count > 0)
                if piece.way.most > piece.way.least:
                    self.model.add_hint(piece.more, max(0, count - piece.way.least))

    def _picks(self, solver: Any) -> Picks:
        picks = Picks()
        for name, pieces in self.pieces.items():
            packs: Packs = {
                piece.way: piece.way.least + solver.value(piece.more)
                for piece in pieces
                if solver.boolean_value(piece.used)
            }
            if packs:
                picks[name] = packs
        return picks
