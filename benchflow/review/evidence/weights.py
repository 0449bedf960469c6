"""The table of weak points: every kind with its scale, which gives a grade from a size, and the reason for the scale.

A grade is from 0 to 100. It is linear between the points of a scale and constant outside. The scales are a judgement
(common practice, no source) by four rules:

- A larger fault has a higher grade. A kind has one grade for every size only where no size is known.
- What may be wrong on the assembly comes before what is wrong only on paper. A signature never outweighs a cause.
- Honest everyday work stays below :data:`SUSPECT`.
- What has little effect, by physics or by its size, has a low grade, whatever its kind.
"""

from itertools import pairwise
from typing import Final, Literal

from msgspec import Struct

SUSPECT: Final = 20
"""A step with a weak point of this grade or higher is suspect; lower grades are only mentioned."""

RECORD_CEILING: Final = 24
"""The highest grade of a weak point that is only on paper."""

Nature = Literal["work", "measurement", "record"]
NATURE_TEXT: Final[dict[Nature, str]] = {
    "work": "the assembly",
    "measurement": "a measurement",
    "record": "the record",
}


class WeakPointKind(Struct, frozen=True):
    """A kind of weak point.

    ``title`` is its name for people, ``when`` the condition. ``nature`` says what may be wrong: something on the
    assembly, a measured value, or only the record. ``scale`` has points of size and grade, by increasing size;
    ``unit`` says what the size is. ``why`` is the reason for the scale.
    """

    kind: str
    title: str
    when: str
    nature: Nature
    unit: str
    scale: tuple[tuple[float, int], ...]
    why: str

    def grade(self, size: float) -> int:
        """The grade of a weak point of ``size``, rounded to a whole number."""
        first, last = self.scale[0], self.scale[-1]
        if size <= first[0]:
            return first[1]
        for (low, low_grade), (high, high_grade) in pairwise(self.scale):
            if size <= high:
                return round(low_grade + (high_grade - low_grade) * (size - low) / (high - low))
        return last[1]

    @property
    def highest(self) -> int:
        """The highest grade on the scale."""
        return max(grade for _, grade in self.scale)

    @property
    def scale_text(self) -> str:
        """The scale as text: ``0.1 → 40, 0.5 → 60``; for a scale of one point only its grade."""
        if len(self.scale) == 1:
            return str(self.scale[0][1])
        return ", ".join(f"{size:g} → {grade}" for size, grade in self.scale)


_FLAT: Final = ""
"""The unit of a scale that has one grade for every size."""

_NOT_DONE: Final = ((0.3, 60), (0.6, 80), (1.0, 100))
_NOT_DONE_UNIT: Final = "what the step does: 1 tightens, fits or moves; 0.6 measures; 0.3 only looks"
_BEYOND: Final = ((0.0, 40), (0.05, 55), (0.25, 75), (1.0, 95))
_BEYOND_UNIT: Final = "distance beyond the limit, as a part of its band; with one end, of the band as for near a limit"

WORK: Final = (
    WeakPointKind(
        "never-done", "never done", "the step is part of this build and was not finished", "work", _NOT_DONE_UNIT,
        _NOT_DONE, "what was not done can be missing on the assembly",
    ),
    WeakPointKind(
        "out-of-limit", "out of its limit", "a value or a fastener is out of its limit, signed for or not", "work",
        _BEYOND_UNIT, _BEYOND, "a signature changes nothing on the part, so a deviation has the grade of its size",
    ),
    WeakPointKind(
        "would-be-out", "out of its limit when corrected",
        "the value is inside its limit only because of the known error of its instrument", "work", _BEYOND_UNIT,
        ((0.0, 35), (0.05, 50), (0.25, 70), (1.0, 90)),
        "it is as weak as a value out of its limit, less the doubt about the error",
    ),
    WeakPointKind(
        "off-torque", "wrong torque", "fasteners were tightened with a wrench that was later found to read wrong",
        "work", "error of the torque beyond what the wrench is allowed, as a part of it",
        ((0.0, 25), (0.03, 40), (0.1, 65), (0.3, 90)), "clamp load is proportional to the torque",
    ),
    WeakPointKind(
        "other-lubricant", "other lubricant", "the torque is stated for a lubricant other than the one used", "work",
        "change of the clamp load, as a part of it; half if an angle follows; at least 0.33 above the proof load; 0.3 "
        "where it is not known; 0 where another step decides the load",
        ((0.0, 12), (0.005, 25), (0.05, 35), (0.15, 50), (0.33, 75), (0.5, 88)),
        "clamp load is inversely proportional to the nut factor",
    ),
    WeakPointKind(
        "window-missed", "time window missed",
        "the step was started too early or finished too late after an earlier step, signed for or not", "work",
        "time missed, as a part of the window",
        ((0.0, 21), (0.01, 23), (0.1, 40), (0.5, 60), (1.0, 72), (5.0, 85), (20.0, 95)),
        "sealant skins and oil drains slowly: seconds do little, hours spoil the joint",
    ),
    WeakPointKind(
        "overtightened", "tightened too far",
        "a fastener was tightened above its band, whether it was then loosened, cleared or waived", "work",
        "torque above the band, as a part of its upper end; 0.1 where it was not read",
        ((0.0, 30), (0.05, 45), (0.15, 65), (0.3, 80)),
        "a thread that has yielded does not recover when it is loosened",
    ),
    WeakPointKind(
        "fastener-failed", "fastener failed",
        "a fastener stripped, broke or turned without getting tighter", "work",
        "0.5 repaired; 1 left out or not repaired",
        ((0.5, 30), (1.0, 70)),
        "a repaired thread holds less surely than a sound one; a missing fastener holds nothing",
    ),
    WeakPointKind(
        "not-replaced", "thrown away and not replaced",
        "a part whose lot the procedure asks for was discarded, and no other one was entered for it", "work", _FLAT,
        ((1.0, 85),), "the part is missing, or the old one went back in",
    ),
    WeakPointKind(
        "fitted-after-discard", "fitted after it was thrown away", "a lot was used again after it was discarded",
        "work", "1 after rework, a remedy or a repair; 0 after a planned trial", ((0.0, 12), (1.0, 78)),
        "a part for one use does not seal or hold a second time; after a trial it can be another part of the lot",
    ),
    WeakPointKind(
        "tightened-twice", "tightened twice", "a fastener or gasket for one use was tightened again", "work",
        "how often it was tightened again", ((1.0, 74), (3.0, 88)), "it has yielded or set at the first tightening",
    ),
    WeakPointKind(
        "used-part", "used part", "a part was used again", "work",
        "0 inside the limit for new parts too; 1 only inside that for used parts", ((0.0, 16), (1.0, 18)),
        "the procedure allows it, but less of its life is left",
    ),
    WeakPointKind(
        "check-no", "check answered no", "a check was answered no, and somebody signed to continue", "work", _FLAT,
        ((1.0, 66),), "what the check asks for is not true of the assembly",
    ),
    WeakPointKind(
        "other-part", "other part than chosen", "a part was fitted that the table or the matching does not choose",
        "work", _FLAT, ((1.0, 45),), "the size of the part is wrong for what was measured",
    ),
    WeakPointKind(
        "wrench-changed", "wrench changed within a joint",
        "a joint was tightened with more than one wrench where the procedure asks for one",
        "work", "0.5 between stages, or within a check; 1 within a stage", ((0.5, 25), (1.0, 34)),
        "two wrenches differ by up to the sum of their uncertainties, so the joint is not even",
    ),
    WeakPointKind(
        "setting-changed", "wrench setting changed within a joint", "the adapter or setting changed between fasteners",
        "work", "change of the torque if the wrench was not set again, as a part of it; half between stages",
        ((0.0, 14), (0.02, 20), (0.05, 28), (0.3, 70)),
        "one setting is wrong for some of the fasteners",
    ),
    WeakPointKind(
        "long-pause", "long pause within a stage", "minutes passed between two fasteners of one stage", "work",
        "minutes; a quarter of them in a stage that only checks",
        ((10.0, 6), (30.0, 16), (40.0, 21), (120.0, 36), (480.0, 52), (1440.0, 58)),
        "a gasket that is clamped on one side only creeps there",
    ),
    WeakPointKind(
        "stages-apart", "long pause between stages", "hours passed between two stages of one joint", "work", "hours",
        ((1.0, 6), (3.0, 18), (4.0, 21), (8.0, 36), (24.0, 45)),
        "a gasket creeps under part of its load, and the count of the stages is easily lost overnight",
    ),
    WeakPointKind(
        "ticks-cleared", "ticks cleared", "ticks of a stage were cleared and made again", "work",
        "part of the fasteners of the stage; 0.1 for one tick", ((0.0, 4), (0.15, 14), (0.3, 22), (1.0, 42)),
        "one tick is a slip of the finger; many mean that the count was lost",
    ),
    WeakPointKind(
        "redone", "redone", "the step was reworked", "work", "how often", ((1.0, 21), (3.0, 36)),
        "work that is done again was wrong once, and rework can damage sealing faces and threads",
    ),
    WeakPointKind(
        "set-by-hand", "state entered by hand", "a state was declared where a move or an operation would have set it",
        "work", "0 harmless; 0.5 another operation needs it; 1 a rule of interference reads it",
        ((0.0, 14), (0.5, 26), (1.0, 42)), "the interlock then depends on what a person entered, not on the work",
    ),
    WeakPointKind(
        "state-contradicted", "found in another state",
        "the step was taken over from an earlier log, but the engine was not found in the state that it sets", "work",
        _FLAT, ((1.0, 62),), "the work was undone, or was never done",
    ),
    WeakPointKind(
        "retorque-not-done", "fasteners not checked again",
        "the customer says that the fasteners were not checked again, as the follow-up of the procedure asks", "work",
        "0 not due yet, or not known; 1 due by the age of the build, or by its hours or distance",
        ((0.0, 10), (1.0, 40)), "a gasket settles, and a part of the clamp load is lost",
    ),
    WeakPointKind(
        "touched-since", "others worked on it", "the customer says that others have worked on it since the build",
        "work", _FLAT, ((1.0, 36),), "what the log shows may not be on the assembly any more",
    ),
    WeakPointKind(
        "changed-use", "changed use", "the customer says that fuel, tune or use have changed since the build", "work",
        _FLAT, ((1.0, 30),), "the parts and clearances were chosen for the earlier use",
    ),
    WeakPointKind(
        "odd-note", "note",
        "a note, or the reason of a deviation, has a word for damage, a wrong fit or unease, from a list of English "
        "words. Of other reasons only damage counts. Other notes are only mentioned",
        "work",
        "0 nothing odd; 0.12 about the work; 0.2 put right with a new part; 0.3 unease in the reason of a deviation; "
        "0.5 unease; 1 damage or a wrong fit",
        ((0.0, 4), (0.5, 36), (1.0, 62)),
        "the person at the bench saw it; a crease, a burr or a stiff thread can be the cause",
    ),
)  # fmt: skip
"""The kinds of weak points that mean that something on the assembly may be wrong."""

MEASUREMENT: Final = (
    WeakPointKind(
        "not-proven", "not proven", "a value is so near its limit that the uncertainty leaves it undecided",
        "measurement", _FLAT, ((1.0, 45),), "it may be outside the limit",
    ),
    WeakPointKind(
        "near-limit", "near a limit", "the value is near an end of its limit", "measurement",
        "part of the band that is left; for a tick, 10 times that part; with one end, the band is the least of 40 "
        "times the standard uncertainty, the band for new parts, and 0.4 times that end",
        ((0.0, 50), (0.001, 48), (0.01, 38), (0.05, 21), (0.1, 8)),
        "the uncertainty of a workshop measurement is a few per cent of a band",
    ),
    WeakPointKind(
        "retaken", "measured until it fitted",
        "earlier attempts were out of the limit, and nothing was put right between", "measurement",
        "attempts that were out; 0.7 for one that was read again for a stated reason",
        ((1.0, 15), (2.0, 26), (3.0, 38), (5.0, 56), (8.0, 66)),
        "one attempt can be a gauge that was set badly; a part that is out several times is out",
    ),
    WeakPointKind(
        "corrected-in", "corrected from out to in", "a correction brought the value inside its limit", "measurement",
        "0 a plain typing error; 1 a small step from just outside to just inside", ((0.0, 9), (0.5, 24), (1.0, 44)),
        "a slip of the finger changes a digit or the decimal point; a small step can be a value made to fit",
    ),
    WeakPointKind(
        "odd-sibling", "odd one among its siblings", "the value stands apart from its siblings in the build",
        "measurement", "distance from their median, in typical differences", ((3.0, 12), (4.0, 21), (8.0, 38),
        (20.0, 52)),
        "places that are made alike measure alike; the odd one was measured wrongly or is wrong",
    ),
    WeakPointKind(
        "odd-among-builds", "odd one among the shop's builds",
        "the value is outside the control limits of at least eight other builds by the same procedure", "measurement",
        "distance from their mean, in standard deviations, less what chance gives with few builds and many values",
        ((2.0, 8), (3.0, 21), (6.0, 38), (12.0, 50)), "three standard deviations are the usual control limits",
    ),
    WeakPointKind(
        "wide-spread", "readings differ", "the readings of one place differ widely", "measurement",
        "their spread, as a part of the band", ((0.2, 8), (0.4, 22), (1.0, 46)),
        "readings that do not repeat do not prove the value",
    ),
    WeakPointKind(
        "contradicts-calculation", "contradicts the calculation",
        "a measured value is not what was calculated for it beforehand", "measurement",
        "difference, as a part of the band", ((0.05, 8), (0.2, 24), (0.5, 44), (1.0, 62)),
        "one of the two is wrong, or another part was fitted",
    ),
    WeakPointKind(
        "two-instruments", "two instruments in one difference",
        "a difference was calculated from readings of two instruments", "measurement", _FLAT, ((1.0, 27),),
        "their zero errors do not cancel",
    ),
    WeakPointKind(
        "instrument-bad", "instrument in doubt",
        "the instrument was used after its last good check, and found doubtful later, before its next calibration",
        "measurement", "part of the time from the last good check to the doubt; 1 where it is not known",
        ((0.0, 26), (1.0, 52)),
        "the error began on some day between the last good check and the doubt; a later use is more likely to have it",
    ),
    WeakPointKind(
        "instrument-overdue", "instrument overdue", "the calibration of the instrument had expired that day",
        "measurement", "days", ((0.0, 12), (1.0, 17), (7.0, 19), (14.0, 22), (30.0, 27), (90.0, 34), (365.0, 48),
        (1095.0, 60)),
        "wrenches drift over months and years, not over a day",
    ),
    WeakPointKind(
        "instrument-unfit", "instrument not fit", "the instrument was used out of its range, or was not fit otherwise",
        "measurement", "distance out of the range, as a part of the larger of value and end",
        ((0.0, 34), (0.1, 46), (0.5, 62)),
        "nobody has calibrated it there",
    ),
    WeakPointKind(
        "too-fast", "implausibly fast", "the step, or a stage by hand, took less time than hands need", "measurement",
        "time taken, as a part of the time that the procedure states or hands need",
        ((0.0, 52), (0.05, 44), (0.25, 21), (0.5, 8)), "it was entered and not done, or done in a hurry",
    ),
    WeakPointKind(
        "window-unknown", "time not known",
        "the clocks contradict each other, so nobody knows how much time passed in a time window", "measurement",
        _FLAT, ((1.0, 46),), "the window may have been missed by any time",
    ),
    WeakPointKind(
        "clock-back", "computer clock set back", "the computer clock was set back while a time window ran",
        "measurement",
        "time hidden, as a part of the window, or of 40 min within a joint; 0 where the boot clock ran on",
        ((0.0, 16), (0.1, 24), (1.0, 44)),
        "the time that is hidden may have passed in the window",
    ),
    WeakPointKind(
        "taken-on-trust", "taken over without evidence",
        "somebody signed that the step was done under an earlier log, but no trusted line of that log says so",
        "measurement", _FLAT, ((1.0, 40),), "only a signature says that it was done",
    ),
    WeakPointKind(
        "not-known", "not known", "the log is damaged, and nothing before the damage says that the step was finished",
        "measurement", _FLAT, ((1.0, 20),),
        "it was probably done, but nothing shows how; a cause before the damage comes first",
    ),
    WeakPointKind(
        "taken-over", "from an earlier log", "the step was done under an earlier log, damaged or left", "measurement",
        _FLAT, ((1.0, 25),), "its readings and ticks are in the other log",
    ),
    WeakPointKind(
        "window-tight", "time window nearly missed",
        "most of the window was used, or a wait was shortened by less than 2.5 %", "measurement",
        "part of the window", ((0.9, 8), (1.0, 18)),
        "the time is inside the window, or so little outside that it changes nothing",
    ),
    WeakPointKind(
        "window-across", "time by the computer clock",
        "only the computer clock shows the time in a window, because the computer was started again in it",
        "measurement", _FLAT, ((1.0, 11),), "that clock can be set, but usually was not",
    ),
)  # fmt: skip
"""The kinds of weak points that mean that a value may be wrong, or that too little is known."""

RECORD: Final = (
    WeakPointKind(
        "failed-audit", "failed audit", "the rules would have refused an entry of the step, or judged it differently",
        "record", _FLAT, ((1.0, 24),), "the entry was not made at the bench as the log says",
    ),
    WeakPointKind(
        "log-damaged", "log damaged", "lines of the log are damaged", "record", "part of the lines not trusted",
        ((0.0, 20), (1.0, 20)), "what these lines said is not known; a cause before the damage comes first",
    ),
    WeakPointKind(
        "unknown-signer", "signer not known", "a signature is by a name that the register does not know", "record",
        _FLAT, ((1.0, 23),), "nobody has checked whether that person may sign",
    ),
    WeakPointKind(
        "waived-without-role", "signed without the role", "a hold was signed or waived by a person without its role",
        "record", _FLAT, ((1.0, 23),), "nobody with the role has checked the work",
    ),
    WeakPointKind(
        "role-added", "role added during the job", "the signer got the role in the register while the job ran",
        "record", _FLAT, ((1.0, 16),), "it is often honest, but a role can be added to sign once",
    ),
    WeakPointKind(
        "self-signed", "signed by the builder", "a hold point was signed by the person who did the work", "record",
        _FLAT, ((1.0, 22),), "nobody else has checked the work",
    ),
    WeakPointKind(
        "hold-waived", "hold waived", "somebody signed to continue although a hold point was not signed", "record",
        _FLAT, ((1.0, 22),), "nobody has checked the work",
    ),
    WeakPointKind(
        "deviation", "deviation", "somebody signed to continue although a rule was not met", "record", _FLAT,
        ((1.0, 18),), "the cause itself has its own grade by its size; the signature adds only this",
    ),
    WeakPointKind(
        "new-part-unknown", "new part not on record",
        "a part for one use was thrown away, and the procedure asks for no lot of the new one", "record", _FLAT,
        ((1.0, 16),), "the log cannot show that a new one was fitted",
    ),
    WeakPointKind(
        "other-register", "other register", "the job was continued with another register, or with none", "record",
        _FLAT, ((1.0, 20),), "the signatures were checked by another list of people",
    ),
    WeakPointKind(
        "pin-wrong", "wrong PIN", "a wrong PIN was entered", "record", "how often", ((1.0, 16), (3.0, 21), (6.0, 23)),
        "one is a slip; several can be somebody who does not know the PIN",
    ),
    WeakPointKind(
        "entered-together", "entered together", "fasteners of one stage were entered together, not one by one",
        "record", _FLAT, ((1.0, 12),), "it is allowed, but the log does not show each fastener",
    ),
    WeakPointKind(
        "lot-changed", "lot changed", "the lot number of a part was entered again as another one", "record", _FLAT,
        ((1.0, 10),), "it is a typing error, or another part was fitted",
    ),
    WeakPointKind(
        "no-register", "no register", "a hold point was signed in a job without a register of people", "record", _FLAT,
        ((1.0, 5),), "any name could sign",
    ),
    WeakPointKind(
        "no-serial", "instrument not named", "the log does not say which instrument was used", "record", _FLAT,
        ((1.0, 6),), "its calibration cannot be looked up",
    ),
    WeakPointKind(
        "word-only", "no evidence", "the step was finished without a reading, tick, check or signature", "record",
        _FLAT, ((1.0, 4),), "the procedure asks for none",
    ),
    WeakPointKind(
        "error-allowed", "error within what is allowed",
        "the error that was found in the instrument is within its uncertainty at that time", "record", _FLAT,
        ((1.0, 10),), "the work is as good as the instrument was known to be",
    ),
    WeakPointKind("in-force", "used, nothing weak", "the work is in force and has no weak point", "record", _FLAT,
    ((1.0, 3),), "nothing is weak"),
    WeakPointKind(
        "replaced", "replaced", "the work was reworked or measured again later, and no part of it is in force",
        "record", _FLAT, ((1.0, 1),), "none of it is on the assembly",
    ),
)  # fmt: skip
"""The kinds of weak points that are only on paper, or that a trace mentions."""

WEAK_POINT_KINDS: Final = (*WORK, *MEASUREMENT, *RECORD)
KIND: Final = {kind.kind: kind for kind in WEAK_POINT_KINDS}
"""Every kind by its name."""
