"""What ``warmbranch --help`` and the help of its commands teach.

Every command that stands here is run by the tests, in this order.
"""

from __future__ import annotations

INTRODUCTION = """\
How long must a closed side branch on a hot pipe be, given that the gas inside is nowhere near one
temperature?

The branch is a capped tube that stands on the main pipe and cancels one tone. The hot gas grazes
its mouth, its cap is nearly cold: a length worked out from one gas temperature is wrong by ten
percent or more. Warmbranch works out the temperatures along the branch, and from them the
resonance and the quiet rpm.
"""

START_HERE = """\
start here:
  warmbranch demo                        see a service start, a case go in, an answer come out
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch steady my.json              the answer as a table
  warmbranch steady my.json --json       the same as JSON, as the service gives it
  warmbranch example fit > fit.json      the same with readings and what was heard, to change
  warmbranch fit fit.json                fit to them; then what to read or cut next
  warmbranch example length > cut.json   a request for a length, with a target to change
  warmbranch length cut.json             length, trim steps and cut list (--json, --csv)
  warmbranch warmup my.json              from a cold start to warm
  warmbranch example sweep > many.json   a request for many designs of one case
  warmbranch sweep many.json             one line a design (--output FILE.csv for a table)
  warmbranch rank many.json              which of the varied fields matters most
  warmbranch serve                       the service, for programs
  curl -s localhost:8000/v1/steady -H 'Content-Type: application/json' -d @my.json

A request names its units: outside_diameter_mm is in millimetres. A string carries its own unit:
"outside_diameter_mm": "2.25 in", "gas_temperature_degC": "590 F", "air_speed_m_s": "60 mph".
The branch, the main pipe's sizes and its gas temperature are all that must be given.

exit status: 0 answered, 1 failed, 2 the request or the command line holds something impossible.
"""


SERVE = """\
Run the service: a supervisor that keeps the workers alive. SIGTERM or Ctrl-C ends it when all that
it has taken is answered; SIGHUP replaces the workers one by one without a gap.
"""

STEADY = """\
examples:
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch steady my.json              temperatures, resonance, quiet rpm, what to mind
  warmbranch steady my.json --json > answer.json   every number, for programs

Only the branch, the main pipe's sizes and its gas temperature must be given. Left out, a field
takes its default, and the answer says what was assumed. Add "attenuation":
{"rpm_from": 1500, "rpm_to": 3500, "points": 21} for the transmission loss over the rpm.
"""

FIT = """\
examples:
  warmbranch example fit > fit.json      a request with readings and a heard rpm, to change
  warmbranch fit fit.json                what was learned, what to read next, what to cut
  warmbranch fit fit.json --calibration learned.json   keep it for "case.closures.calibration"
  warmbranch example readings > r.csv    readings as a table, from your notes or a spreadsheet
  warmbranch example van > my.json       a request without any
  warmbranch fit my.json --readings r.csv   the two together

A reading says where along the branch, in mm from the mouth, and what the thermometer displayed. An
infrared one needs to know what it looked at: aim at a patch of matt black paint or tape, since bare
metal reads far too cold. "heard" is the rpm at which the drone was quietest, with how sure you are:
[{"quiet_rpm": 2390, "uncertainty_rpm": 25}]. With a "target_rpm" the answer says how much to cut.
Hot metal burns, and an engine that runs gives off carbon monoxide: read outdoors, keep clear of
moving parts, never go under a vehicle that stands on a jack alone.
"""

LENGTH = """\
examples:
  warmbranch example length > cut.json   a request for a length, with a target to change
  warmbranch length cut.json             length, length to build, trim steps, cut list
  warmbranch length cut.json --csv > cut.csv   the same for a spreadsheet
  warmbranch example loudness > loud.json   the target as loudness over rpm; five ways of running
  warmbranch length loud.json            one length that serves them all, or two branches

"target" is the rpm to quieten, {"quiet_rpm": 2350}, its tone in Hz, or loudness as a phone told it.
Build long and trim: what is cut off cannot be put back.
"""

WARMUP = """\
examples:
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch warmup my.json              a cold start: how far off, for how long
  warmbranch example warmup > drive.json   idle, cruise, stop; a map over weather and air speed
  warmbranch warmup drive.json           how far the quiet rpm wanders

Left out, the gas rises from the temperature of the air to the running one with time constants that
the answer tells. Curves of "gas_temperature_curve", "mass_flow_curve" and "air_speed_curve" take
their place.
"""
