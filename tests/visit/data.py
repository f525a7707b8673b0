"""Procedures of the tests: invented, and shorter than any real one."""

WHOLE = """
procedure: whole
title: Whole visit
steps:
  - {id: look, kind: instruct, say: Look at the cabinet.}
  - id: shown
    kind: ask
    say: What does the display show?
    answers: {cool: air, warm: , iced over: {go: done}}
  - id: air
    kind: read
    say: Give the air temperature.
    quantity: air temperature
    unit: degF
    plausible: [-20, 130]
    expected: [36, 46]
    over_range: look
    unsteady: look
  - id: isolate
    kind: isolate
    say: Isolation comes now.
    do: [Switch off at the plug., Pull the plug.]
    sources: [mains]
  - {id: proof, kind: prove, method: switch, say: Try the switch.}
  - {id: warn, kind: caution, level: warning, hazards: [sharp fins], say: The fins are sharp.}
  - {id: reach, kind: instruct, hazards: [moving fan, sharp fins], say: Reach into the fan.}
  - {id: rest, kind: wait, lasts: 2 min, because: it must settle, say: Let it settle.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the terminal.}
  - id: restore
    kind: restore
    say: Power comes back now.
    checks: [Tools out., Covers on.]
    power: Put the plug in.
  - {id: done, kind: end, outcome: done, say: That was it.}
"""

METER = """
procedure: meter
title: By meter
steps:
  - {id: isolate, kind: isolate, say: Isolate., do: [Pull the plug.], sources: [mains]}
  - {id: proof, kind: prove, method: meter, unit: volt, points: [the terminals], say: Measure there.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the terminal.}
  - {id: restore, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""

BAD = """
procedure: bad
title: A hazard with no gate
steps:
  - {id: look, kind: instruct, say: Look.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the terminal.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""

DAYS = """
procedure: days
title: A defrost
steps:
  - {id: look, kind: instruct, say: Unplug the cabinet.}
  - {id: thaw, kind: wait, lasts: 24 h, because: ice melts slowly, say: Let the ice melt.}
  - {id: after, kind: instruct, say: Look at the coil.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""

BESIDES = """
procedure: besides
title: A second complaint
steps:
  - {id: wrong, kind: ask, gist: complaints, say: What is wrong?, answers: {too warm: look, noisy: look}}
  - {id: look, kind: instruct, say: Look at the coil.}
  - {id: else, kind: ask, gist: complaints, say: Anything else?, answers: {nothing else: , noisy: , wet: }}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""
