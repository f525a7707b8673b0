"""Small visits for `tests.bench.walk`: each a procedure, and beside it, written by hand, what feeds and proves what."""

from __future__ import annotations

from tests.bench.watchman import A, B, Small

ONE = Small(
    """
procedure: one
title: One plug
steps:
  - {id: look, kind: instruct, say: Look at it.}
  - {id: which, kind: ask, say: How is it now, answers: {cool: off, warm: {go: done}}}
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [mains]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminal.}
  - {id: again, kind: ask, hazards: [mains], say: Loosen the bare wire., answers: {cool: back, warm: touch, iced over: look}}
  - {id: back, kind: restore, say: Restore the plug., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"touch": ("mains",), "again": ("mains",)}, isolates={"off": ("mains",)}, proves={"dead": ("mains", "switch")},
    restores={"back": ("mains",)}, power={"Put the plug in.": ("mains",)}, phrases=("cool", "warm", "iced over"),
    good=(
        "next step", "cool", "number A", "affirm", "affirm", "isolated A", "nothing runs", "affirm",
        "next step", "cool", "next step", "next step", "next step", "clear A", "next step",
    ),
)  # fmt: skip

METER = Small(
    """
procedure: meter
title: By meter
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [mains]}
  - {id: dead, kind: prove, method: meter, unit: volt, below: 5, say: Measure at the terminals.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminal.}
  - {id: rest, kind: wait, lasts: 2 min, because: it must settle, say: Let it settle.}
  - {id: back, kind: restore, say: Restore the plug., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"touch": ("mains",)}, isolates={"off": ("mains",)}, proves={"dead": ("mains", "meter")},
    restores={"back": ("mains",)}, power={"Put the plug in.": ("mains",)}, limit=5.0, points=3,
    good=(
        "number A", "affirm", "isolated A", "affirm", "0.5", "affirm", "0.5", "affirm", "0.5", "affirm",
        "affirm", "next step", "next step", "affirm", "next step", "next step", "next step", "clear A",
        "next step",
    ),
)  # fmt: skip

TWO = Small(
    """
procedure: two
title: Two sources
sources: {plug: {kind: mains}, valve: {kind: water}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: shut, kind: isolate, say: Isolate the water., do: [Shut the valve.], sources: [valve]}
  - {id: dry, kind: prove, method: tap, source: valve, say: Try the tap.}
  - {id: pipe, kind: instruct, hazards: [water], say: Loosen the wet pipe.}
  - {id: both, kind: instruct, hazards: [mains, water], say: Touch the bare pump.}
  - {id: open, kind: restore, sources: [valve], say: Restore the water., checks: [Pipe tight., Hands out.], power: Open it.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminal.}
  - {id: back, kind: restore, sources: [plug], say: Restore it., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"pipe": ("valve",), "both": ("plug", "valve"), "touch": ("plug",)},
    isolates={"off": ("plug",), "shut": ("valve",)}, proves={"dead": ("plug", "switch"), "dry": ("valve", "switch")},
    restores={"open": ("valve",), "back": ("plug",)}, power={"Put the plug in.": ("plug",), "Open it.": ("valve",)},
    people=(A, B), called=False,
    good=(
        "number A", "affirm", "affirm", "isolated A", "nothing runs", "affirm", "affirm", "isolated A",
        "nothing runs", "affirm", "second person", "number B", "affirm", "isolated B", "next step", "next step",
        "next step", "next step", "next step", "clear A", "clear B", "next step", "next step", "next step",
        "next step", "next step", "clear A", "clear B", "next step",
    ),
)  # fmt: skip

PAIR = Small(
    """
procedure: pair
title: Two sources, two people
sources: {plug: {kind: mains}, valve: {kind: water}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: shut, kind: isolate, say: Isolate the water., do: [Shut the valve.], sources: [valve]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: dry, kind: prove, method: tap, source: valve, say: Try the tap.}
  - {id: both, kind: instruct, hazards: [mains, water], say: Touch the bare pump.}
  - {id: back, kind: restore, say: Restore both., checks: [Hands out.], power: Put all on.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"both": ("plug", "valve")}, isolates={"off": ("plug",), "shut": ("valve",)},
    proves={"dead": ("plug", "switch"), "dry": ("valve", "switch")}, restores={"back": ("plug", "valve")},
    power={"Put all on.": ("plug", "valve")}, people=(A, B), called=False,
    good=(
        "number A", "affirm", "affirm", "isolated A", "affirm", "isolated A", "nothing runs", "affirm", "nothing runs",
        "affirm", "second person", "number B", "affirm", "isolated B", "next step", "next step", "next step", "clear A",
        "clear B", "next step",
    ),
)  # fmt: skip

CHARGE = Small(
    """
procedure: charge
title: A capacitor behind a plug
sources: {plug: {kind: mains}, capacitor: {kind: charge, behind: [plug]}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: relieve, kind: isolate, say: Relieve the capacitor., do: [Bridge it.], sources: [capacitor]}
  - {id: empty, kind: prove, method: charge-meter, source: capacitor, say: Measure the capacitor.}
  - {id: touch, kind: instruct, hazards: [stored charge], say: Touch the bare terminal.}
  - {id: back, kind: restore, say: Restore the plug., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"touch": ("plug", "capacitor")}, isolates={"off": ("plug",), "relieve": ("capacitor",)},
    proves={"dead": ("plug", "switch"), "empty": ("capacitor", "meter")}, restores={"back": ("plug", "capacitor")},
    power={"Put the plug in.": ("plug",)}, limit=10.0, behind={"capacitor": "plug"},
    unlocked=frozenset({"capacitor"}), returns={"capacitor": 30 * 60.0},
    good=(
        "number A", "affirm", "affirm", "isolated A", "nothing runs", "affirm", "next step", "affirm", "0.5",
        "affirm", "affirm", "next step", "next step", "next step", "next step", "clear A", "next step",
    ),
)  # fmt: skip

WARNED = Small(
    CHARGE.text.replace("procedure: charge", "procedure: warned").replace(
        "  - {id: touch,",
        """  - {id: sharp, kind: caution, level: warning, hazards: [sharp fins], say: The fins are sharp.}
  - {id: heat, kind: caution, level: warning, hazards: [hot surface], say: It is hot.}
  - {id: lay, kind: instruct, say: Lay out the tools.}
  - {id: touch,""",
    ),
    needs=CHARGE.needs, isolates=CHARGE.isolates, proves=CHARGE.proves, restores=CHARGE.restores, power=CHARGE.power,
    limit=CHARGE.limit, behind=CHARGE.behind, unlocked=CHARGE.unlocked, returns=CHARGE.returns,
    good=(*CHARGE.good[:11], "understood", "understood", "next step", *CHARGE.good[11:]),
)  # fmt: skip

ASKED = Small(
    """
procedure: asked
title: What is wrong, and what else
steps:
  - {id: wrong, kind: ask, gist: complaints, say: What is wrong, answers: {too warm: off, noisy: off}}
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [mains]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminal.}
  - {id: back, kind: restore, say: Restore the plug., checks: [Covers on.], power: Put the plug in.}
  - {id: else, kind: ask, gist: complaints, say: Anything else, answers: {nothing else: done, noisy: off, wet: done}}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"touch": ("mains",)}, isolates={"off": ("mains",)}, proves={"dead": ("mains", "switch")},
    restores={"back": ("mains",)}, power={"Put the plug in.": ("mains",)},
    phrases=("too warm", "noisy", "nothing else", "wet"),
    besides=("and it is noisy too",), called=False,
    good=(
        "too warm", "number A", "affirm", "affirm", "isolated A", "nothing runs", "affirm", "next step",
        "next step", "next step", "clear A", "next step", "nothing else",
    ),
)  # fmt: skip

LIFT = Small(
    """
procedure: lift
title: A lift with nothing to lock
steps:
  - {id: look, kind: instruct, say: Look at it.}
  - {id: lift, kind: instruct, people: 2, say: Lift the lid off.}
  - {id: rest, kind: wait, lasts: 2 min, because: it must settle, say: Let it settle.}
  - {id: down, kind: instruct, people: 2, say: Put the lid down.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={}, isolates={}, proves={}, restores={}, power={}, people=(A, B), pairs=("lift", "down"),
    good=("next step", "number A", "affirm", "number B", "affirm", "next step", "next step", "affirm", "next step"),
)  # fmt: skip

BOOKS: dict[str, Small] = {
    "one": ONE, "meter": METER, "two": TWO, "pair": PAIR, "charge": CHARGE, "warned": WARNED, "asked": ASKED,
    "lift": LIFT,
}  # fmt: skip
