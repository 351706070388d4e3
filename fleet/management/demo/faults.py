"""What goes wrong with the invented drivers: the ward's words, what the bench finds, and what it does about it.

No words name a patient, and none should: a report tells of the driver.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.bench.actions import Part
from fleet.bench.models import Order
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import Outcome
from fleet.management.demo.dice import Dice
from fleet.tags.models import TagReport, YesNo


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """What the bench found and did; `weight` says how often among the repairs of its fault."""

    weight: int
    outcome: Outcome
    found: Order.Found
    cause: str
    action: str
    cause_kind: Order.Cause | None = None
    action_kind: Order.Action
    minutes: tuple[int, int]
    part: Part | None = None
    waits: Mapping[WaitReason, float] | None = None
    new_pack: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One kind of trouble: how often, how wards put it, what the screen says, which alerts go with it."""

    weight: int
    what: TagReport.What
    words: tuple[str, ...]
    screens: tuple[str, ...] = ("",)
    alerts: tuple[str, ...] = ()
    repairs: tuple[Repair, ...]


_PARTS_WAIT: Final = {WaitReason.PARTS: 0.3}
_MAKER_WAIT: Final = {WaitReason.MAKER: 0.6}
_DIRTY_WAIT: Final = {WaitReason.DECONTAMINATION: 0.7}


def _nothing(weight: int, action: str) -> Repair:
    return Repair(
        weight=weight,
        outcome=Outcome.NO_FAULT_FOUND,
        found=Order.Found.NOTHING,
        cause="",
        action_kind=Order.Action.CHECKED,
        action=action,
        minutes=(20, 45),
    )


def _use(weight: int, cause: str, action: str) -> Repair:
    return Repair(
        weight=weight,
        outcome=Outcome.USE_RELATED,
        found=Order.Found.NOTHING,
        cause_kind=Order.Cause.HANDLING,
        cause=cause,
        action_kind=Order.Action.EXPLAINED,
        action=action,
        minutes=(15, 35),
    )


def _part(name: str, number: str, price: str) -> Part:
    return Part(name=name, part_number=number, price=Decimal(price))


FAULTS: Final = (
    Fault(
        weight=24,
        what=TagReport.What.POWER,
        words=(
            "Went flat on the way to the scanner, although it had been on charge all night.",
            "Battery light comes on after a few minutes off the mains.",
            "Does not last a transfer any more.",
            "Shows full, then switches off when unplugged.",
        ),
        screens=("BATTERY LOW", "", "CONNECT MAINS"),
        alerts=("battery-weak", "ran-flat"),
        repairs=(
            Repair(
                weight=6,
                outcome=Outcome.REPAIRED,
                found=Order.Found.BATTERY,
                cause_kind=Order.Cause.WEAR,
                cause="Pack worn",
                action_kind=Order.Action.PACK,
                action="Pack replaced, charged and checked.",
                minutes=(25, 50),
                part=None,
                new_pack=True,
            ),
            Repair(
                weight=2,
                outcome=Outcome.DAMAGE,
                found=Order.Found.BATTERY,
                cause_kind=Order.Cause.KNOCK,
                cause="Mains inlet bent by a pulled lead",
                action_kind=Order.Action.PART,
                action="Inlet replaced, leakage measured.",
                minutes=(40, 80),
                part=_part("Mains inlet", "TI-4410", "18.50"),
                waits=_PARTS_WAIT,
            ),
            _use(2, "Socket behind the bed was switched off", "Ward told how the charging light shows."),
            _nothing(4, "Charged for 10 hours and run for two; held up as it should."),
        ),
    ),
    Fault(
        weight=20,
        what=TagReport.What.OCCLUSION,
        words=(
            "Keeps alarming blocked, line changed twice, cannula fine.",
            "Blockage alarm every half hour with nothing clamped.",
            "Alarms at once when started, also with a new syringe.",
        ),
        screens=("PRESSURE HIGH", "LINE BLOCKED", ""),
        alerts=("blockage",),
        repairs=(
            Repair(
                weight=3,
                outcome=Outcome.REPAIRED,
                found=Order.Found.PRESSURE,
                cause_kind=Order.Cause.UNKNOWN,
                cause="Pressure sensing out of adjustment",
                action_kind=Order.Action.ADJUSTED,
                action="Adjusted by the service manual and verified.",
                minutes=(40, 90),
            ),
            _use(3, "Blockage level set to the lowest for a long thin line", "Talked through with the ward."),
            _nothing(7, "Run for four hours with two syringes; alarms only when the line is closed."),
        ),
    ),
    Fault(
        weight=15,
        what=TagReport.What.SYRINGE,
        words=(
            "Will not see the 50 mL syringe.",
            "Says wrong size, whichever syringe we take.",
            "Plunger clip does not grip any more.",
        ),
        screens=("CHECK SYRINGE", "SYRINGE NOT KNOWN"),
        alerts=("syringe-not-recognised",),
        repairs=(
            Repair(
                weight=5,
                outcome=Outcome.REPAIRED,
                found=Order.Found.SYRINGE_FIT,
                cause_kind=Order.Cause.WEAR,
                cause="Size sensor dirty or worn",
                action_kind=Order.Action.PART,
                action="Sensor and holder replaced, every size tried.",
                minutes=(35, 70),
                part=_part("Holder with size sensor", "TI-2203", "74.00"),
                waits=_PARTS_WAIT,
            ),
            Repair(
                weight=2,
                outcome=Outcome.REPAIRED,
                found=Order.Found.FLUID,
                cause_kind=Order.Cause.FLUID,
                cause="Dried feed in the clamp",
                action_kind=Order.Action.MENDED,
                action="Clamp stripped, cleaned and lightly greased.",
                minutes=(45, 75),
                waits=_DIRTY_WAIT,
            ),
            _use(2, "Syringe of a brand that is not on its list", "Ward asked to take the listed brand."),
            _nothing(3, "All sizes on the list recognised, ten times each."),
        ),
    ),
    Fault(
        weight=14,
        what=TagReport.What.DROPPED,
        words=(
            "Fell off the pole in the corridor.",
            "Corner is cracked, found like this in the store room.",
            "Water jug knocked over it.",
            "Pole clamp does not hold, it slid down.",
        ),
        repairs=(
            Repair(
                weight=6,
                outcome=Outcome.DAMAGE,
                found=Order.Found.CASE,
                cause_kind=Order.Cause.KNOCK,
                cause="Dropped",
                action_kind=Order.Action.PART,
                action="Case half and clamp replaced, full check-out.",
                minutes=(60, 120),
                part=_part("Case, front half", "TI-1001", "96.00"),
                waits=_PARTS_WAIT,
            ),
            Repair(
                weight=2,
                outcome=Outcome.DAMAGE,
                found=Order.Found.FLUID,
                cause_kind=Order.Cause.FLUID,
                cause="Fluid inside",
                action_kind=Order.Action.MENDED,
                action="Opened, dried, board cleaned; leakage and alarms checked.",
                minutes=(60, 110),
                waits=_DIRTY_WAIT,
            ),
            _nothing(2, "No damage found; full check-out passed."),
        ),
    ),
    Fault(
        weight=11,
        what=TagReport.What.SCREEN,
        words=("Two keys do not answer.", "Screen is black but it runs.", "No alarm sound, only the light."),
        screens=("", "KEY STUCK"),
        alerts=("keys-or-screen",),
        repairs=(
            Repair(
                weight=5,
                outcome=Outcome.REPAIRED,
                found=Order.Found.ELECTRONICS,
                cause_kind=Order.Cause.WEAR,
                cause="Keypad worn",
                action_kind=Order.Action.PART,
                action="Keypad replaced, every key tried.",
                minutes=(40, 80),
                part=_part("Keypad", "TI-3127", "58.00"),
                waits=_PARTS_WAIT,
            ),
            Repair(
                weight=2,
                outcome=Outcome.REPAIRED,
                found=Order.Found.ELECTRONICS,
                cause_kind=Order.Cause.WEAR,
                cause="Display board failed",
                action_kind=Order.Action.SENT,
                action="Board replaced by the maker, check-out here.",
                minutes=(30, 60),
                waits=_MAKER_WAIT,
            ),
            _nothing(2, "Keys, screen and sound work; ward shown the volume setting."),
        ),
    ),
    Fault(
        weight=9,
        what=TagReport.What.ASKED,
        words=("Asks for maintenance at every start.", "Wrench symbol stays on."),
        screens=("MAINTENANCE RECOMMENDED", "SERVICE"),
        alerts=("asked-for-maintenance",),
        repairs=(
            Repair(
                weight=3,
                outcome=Outcome.REPAIRED,
                found=Order.Found.SOFTWARE,
                cause_kind=Order.Cause.OTHER,
                cause="Service counter had run out",
                action_kind=Order.Action.ADJUSTED,
                action="Serviced in full, counter set back.",
                minutes=(45, 75),
            ),
            Repair(
                weight=2,
                outcome=Outcome.REPAIRED,
                found=Order.Found.DRIVE,
                cause_kind=Order.Cause.WEAR,
                cause="Drive current high",
                action_kind=Order.Action.MENDED,
                action="Lead screw cleaned and greased, drive run in.",
                minutes=(60, 100),
                waits=_PARTS_WAIT,
            ),
        ),
    ),
    Fault(
        weight=8,
        what=TagReport.What.STOPPED,
        words=("Stopped in mid-infusion without an alarm we heard.", "Restarted itself and lost the rate."),
        screens=("", "SYSTEM FAULT"),
        alerts=("internal-check-failed",),
        repairs=(
            Repair(
                weight=3,
                outcome=Outcome.REPAIRED,
                found=Order.Found.ELECTRONICS,
                cause_kind=Order.Cause.UNKNOWN,
                cause="Fault in the event log, main board",
                action_kind=Order.Action.SENT,
                action="Sent to the maker, board replaced; check-out here.",
                minutes=(40, 70),
                waits=_MAKER_WAIT,
            ),
            _use(2, "Paused by hand; the log shows the key", "Log read with the ward's link nurse."),
            _nothing(4, "Log shows no stop; run overnight without one."),
        ),
    ),
    Fault(
        weight=6,
        what=TagReport.What.RATE,
        words=("Syringe emptied an hour early by our reckoning.", "Less gone than it shows as given."),
        repairs=(
            Repair(
                weight=1,
                outcome=Outcome.REPAIRED,
                found=Order.Found.DRIVE,
                cause_kind=Order.Cause.WEAR,
                cause="Half nut worn",
                action_kind=Order.Action.PART,
                action="Half nut replaced, delivery measured at three rates.",
                minutes=(60, 110),
                part=_part("Half nut", "TI-2250", "41.00"),
                waits=_PARTS_WAIT,
            ),
            _use(2, "A larger syringe than the one confirmed on the screen", "Passed on to the ward's link nurse."),
            _nothing(3, "Delivery within 2 % at three rates."),
        ),
    ),
    Fault(
        weight=4,
        what=TagReport.What.MISSING_PART,
        words=("Came back from transport without its lead.", "Clamp knob is gone."),
        repairs=(
            Repair(
                weight=1,
                outcome=Outcome.REPAIRED,
                found=Order.Found.CASE,
                cause_kind=Order.Cause.HANDLING,
                cause="Part lost",
                action_kind=Order.Action.PART,
                action="Part replaced.",
                minutes=(10, 25),
                part=_part("Clamp knob", "TI-0150", "6.20"),
            ),
        ),
    ),
)

_CONNECTED: Final = ((YesNo.YES, 6), (YesNo.NO, 9), (YesNo.NOT_SURE, 1))
_WHERE: Final = (
    "On the shelf by the nurses' desk",
    "Sluice room, on the trolley",
    "Equipment room",
    "Bay 2, on a pole",
)


def a_fault(rng: Dice) -> Fault:
    """Draw a fault by weight."""
    return rng.choices(FAULTS, [fault.weight for fault in FAULTS])[0]


def a_repair(fault: Fault, rng: Dice) -> Repair:
    """Draw what the bench finds behind a fault."""
    return rng.choices(fault.repairs, [repair.weight for repair in fault.repairs])[0]


def connected(rng: Dice) -> str:
    """Draw whether it was connected to a patient."""
    return rng.choices([choice for choice, _ in _CONNECTED], [weight for _, weight in _CONNECTED])[0].value


def where(rng: Dice) -> str:
    """Draw where the ward has put it."""
    return rng.choice(_WHERE)
