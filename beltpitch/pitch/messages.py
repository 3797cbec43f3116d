"""Why a pluck gives no number, each in one line: what, why, what to do."""

from __future__ import annotations

HOLD = (
    "hold a wired headset microphone or a phone 1-2 cm from the flat side of the belt, "
    "about a third along the span"
)
PLUCK = "pluck at a quarter to a third of the span, thumb flat at mid-width"

SILENCE = f"silence: nothing was recorded; check that the right microphone is chosen, and {HOLD}"
NOTHING_BEGAN = (
    f"no pluck was heard: nothing begins and dies away in this sound; {HOLD}, and {PLUCK}"
)
BAD_SAMPLES = "the sound holds samples that are not numbers; record it again"
LOST_SOUND = (
    "sound was lost or is not a number within this pluck; close other programs and pluck again"
)
CLIPPED_THROUGHOUT = (
    "clipped throughout: the input is far too loud; turn the input level down or move away, "
    "and pluck again"
)
TOO_SHORT = (
    "too short: the sound ends before its pitch can be told; record for two seconds more, "
    f"and {PLUCK}"
)
NO_SERIES = (
    "no plucked string: what sounds here is not a series of dying partials (a knock, a voice or "
    f"noise); {HOLD}, and {PLUCK}"
)
NO_FIT = f"the sound does not die away as a pluck does; {HOLD}, and {PLUCK}"
UNCLEAR = (
    "unclear octave: {names} fit about as well (probability {quality:.2f}); "
    "give --from and --to or belt and span, or " + PLUCK
)
ON_HUM = (
    "the belt's tone lies on a steady tone at {tone:.1f} Hz; move the axis a little and compare"
)
CLIPPED_START = "the start is clipped and was left out; turn the input level down"
RINGS_ON = "the same pluck rang on through another sound; its clearer part is used"
OUTLIER = "{f:.2f} Hz is not what the other plucks say ({others:.2f} Hz); set aside"
SUSTAINED = (
    "a sustained tone: it does not die away as a pluck does; switch off what hums or whistles, "
    f"and {PLUCK}"
)
OUTSIDE = (
    "a clear tone at {f:.1f} Hz lies outside {low:.0f} to {high:.0f} Hz, where the belt was to be: "
    "check the belt and the span, or widen the range"
)
GOES_ON = (
    "a voice or another sound that goes on: its tone was there before the pluck as it was after; "
    f"wait until it is over or switch it off, {HOLD}, and {PLUCK}"
)
MACHINE = (
    "a machine or another sound that goes on: its tone neither begins clearly with the pluck nor "
    f"dies away as a pluck does; switch it off, {HOLD}, and {PLUCK}"
)
VOICE = (
    "a voice or another sound that goes on: several tones come and go that are not one string's; "
    f"wait until it is over or switch it off, {HOLD}, and {PLUCK}"
)
TWO_STRANDS = (
    "two strands answer: {one:.1f} and {other:.1f} Hz, about as loud; "
    "lay a finger on the other one and pluck again"
)
ONE_OR_TWO = (
    "two strands at {one:.1f} and {other:.1f} Hz, or one at {f:.1f} Hz whose lowest tone is not "
    "heard; lay a finger on the other one, or give --from and --to or belt and span"
)
STRANGE_LINE = (
    "a tone at {strange:.1f} Hz began with the pluck and does not belong to {f:.1f} Hz: "
    "two strands answer, or the octave is wrong; lay a finger on the other one, and " + PLUCK
)
TWO_STRANDS_CLEAR = (
    "two strands answer: {one:.1f} and {other:.1f} Hz; the louder one is used; "
    "lay a finger on the other one to be sure"
)
TWIST = (
    "two tones close together: {lower:.1f} and {upper:.1f} Hz, the upper one is probably the "
    "belt's twist; the lower one is used; pluck at mid-width with the thumb flat"
)
