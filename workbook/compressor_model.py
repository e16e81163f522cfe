"""A centrifugal compressor with inlet guide vanes as a map in dimensionless figures.

    flow phi = V / (V_design n),  head psi = dh_s / (dh_s,design n^2),  n = speed / design speed

With vanes open the head is a parabola of the flow, flat at the surge line. Closing the vanes to the
capacity share s squeezes the flow axis by s and takes a little head. Loss of efficiency grows with
the closing and with the distance from the design point; the friction of the wheel in its casing
costs
the same whatever flows (disc friction, with the cube of the speed). The shape is of our own making;
its part-load power is held
against published curves in tests/workbook/test_model.py.
"""

from __future__ import annotations

from dataclasses import dataclass


class OutOfMap(ValueError):
    """The compressor cannot do this: it would surge, or it is too small."""


class NoLift(OutOfMap):
    """The condenser is as cold as the evaporator: there is nothing to compress against."""


@dataclass(frozen=True)
class Operation:
    """Where the compressor works.

    Parameters
    ----------
    speed : float
        Share of design speed.
    opening : float
        Capacity share s that the vanes leave, 0 to 1.
    position : float
        Vane position as a share of travel, 0 closed, 1 open.
    efficiency : float
        Isentropic efficiency, disc friction included.
    surge_margin : float
        (phi - phi_surge) / phi along the line of constant speed and vanes.
    """

    speed: float
    opening: float
    position: float
    efficiency: float
    surge_margin: float


@dataclass(frozen=True)
class CompressorMap:
    """The map of one compressor.

    Parameters
    ----------
    flow : float
        [m3/s] suction volume flow at the design point.
    head : float
        [J/kg] isentropic head at the design point.
    efficiency : float
        Isentropic efficiency there.
    variable_speed : bool
    closing_loss, closing_power, off_design_loss : float
        eta = eta_design (1 - closing_loss (1 - s)^closing_power - off_design_loss (phi/s - 1)^2).
    disc_friction : float
        Share of the design power of the gas.
    """

    flow: float
    head: float
    efficiency: float
    variable_speed: bool = False
    closing_loss: float = 0.75
    closing_power: float = 1.9
    off_design_loss: float = 0.30
    disc_friction: float = 0.045
    surge_flow: float = 0.65
    surge_head: float = 1.12
    surge_control: float = 0.70  # variable speed stays this side of the surge line
    slowest: float = 0.50
    least_opening: float = 0.03

    @property
    def _curvature(self) -> float:
        return (self.surge_head - 1.0) / (1.0 - self.surge_flow) ** 2

    def _open_head(self, flow: float) -> float:
        return self.surge_head - self._curvature * (flow - self.surge_flow) ** 2

    @staticmethod
    def _vane_factor(opening: float) -> float:
        return 0.85 + 0.15 * opening

    def head_at(self, flow: float, opening: float) -> float:
        """psi at the flow phi with the vanes at s."""
        return self._vane_factor(opening) * self._open_head(flow / opening)

    def _opening_for(self, flow: float, head: float) -> float:
        """The s that gives this flow and head at this speed; `OutOfMap` if it would surge or cannot
        deliver.
        """
        low, high = self.least_opening, min(1.0, flow / self.surge_flow)
        if self.head_at(flow, high) < head:
            what = (
                "the compressor is too small for this flow and head"
                if high == 1.0
                else "the compressor surges"
            )
            raise OutOfMap(what)
        for _ in range(30):
            middle = 0.5 * (low + high)
            if flow / middle < 2.0 and self.head_at(flow, middle) >= head:
                high = middle
            else:
                low = middle
        return high

    def operate(self, flow: float, head: float) -> Operation:
        """Where the compressor works at a suction flow [m3/s] and an isentropic head [J/kg].

        Raises
        ------
        OutOfMap
        """
        speed = self._speed_for(flow / self.flow, head / self.head) if self.variable_speed else 1.0
        phi, psi = flow / self.flow / speed, head / self.head / speed**2
        opening = self._opening_for(phi, psi)
        return self._at(speed, opening, phi)

    def _at(self, speed: float, opening: float, phi: float) -> Operation:
        through = phi / opening
        loss = (
            self.closing_loss * (1 - opening) ** self.closing_power
            + self.off_design_loss * (through - 1) ** 2
        )
        flow_efficiency = self._flow_efficiency * max(1 - loss, 0.2)
        # Power of the gas in design units: the part that follows flow and head, and the friction of
        # the wheel.
        useful = phi * self.head_at(phi, opening)
        efficiency = useful / (useful / flow_efficiency + self.disc_friction / self.efficiency)
        return Operation(
            speed, opening, position_of(opening), efficiency, 1 - self.surge_flow / through
        )

    @property
    def _flow_efficiency(self) -> float:
        """Efficiency without disc friction at the design point."""
        return self.efficiency / (1 - self.disc_friction)

    def _speed_for(self, flow: float, head: float) -> float:
        """Slowest speed that carries the head with the vanes as far open as surge allows."""
        low, high = self.slowest, 1.15
        for _ in range(30):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self._carries(flow, head, middle) else (middle, high)
        return high

    def _carries(self, flow: float, head: float, speed: float) -> bool:
        phi, psi = flow / speed, head / speed**2
        opening = min(1.0, phi / self.surge_control)
        return self.head_at(phi, opening) >= psi


def position_of(opening: float) -> float:
    """Vane position as a share of travel for a capacity share: the first degrees pass most."""
    return opening**1.6


def opening_of(position: float) -> float:
    """Capacity share at a vane position."""
    return max(position, 0.0) ** (1 / 1.6)
