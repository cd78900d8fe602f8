"""What ``warmbranch --help`` and the help of its commands teach.

Every command that stands here is run by the tests, in this order.
"""

from __future__ import annotations

INTRODUCTION = """\
How long must a closed side branch on a hot pipe be, given that the gas inside
is nowhere near one temperature?

The branch is a capped tube that stands on the main pipe and cancels one tone.
The hot gas grazes its mouth, its cap is nearly cold: a length worked out from
one gas temperature is wrong by ten percent or more. Warmbranch works out the
temperatures along the branch, and from them its length or its quiet rpm.
"""

START_HERE = """\
start here:
  warmbranch demo                        see a case go in and an answer come out
  warmbranch serve --open                the page, in a browser
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch length my.json --rpm 2350   how long to build it, how to trim it
  warmbranch steady my.json              temperatures, resonance, quiet rpm
  warmbranch steady my.json --brief      the answer in one line (--json, --csv)
  warmbranch example fit > fit.json      the same with readings, to change
  warmbranch fit fit.json                fit to them; what to read or cut next
  warmbranch learn fit.json --output shop.json   what finished jobs tell
  warmbranch warmup my.json              from a cold start to warm
  warmbranch example sweep > many.json   a request for many designs of one case
  warmbranch sweep many.json             one line a design (--output FILE.csv)
  warmbranch rank many.json              which of the varied fields matters most
  warmbranch serve                       the service, for programs
  curl -s localhost:8000/v1/steady -H content-type:application/json -d @my.json

A request names its units: outside_diameter_mm is in millimetres. A string
carries its own unit: "outside_diameter_mm": "2.25 in",
"gas_temperature_degC": "590 F", "air_speed_m_s": "60 mph". The branch, the
main pipe's sizes and its gas temperature are all that must be given.

exit status: 0 answered, 1 failed, 2 the request or the command line holds
something impossible.
"""


SERVE = """\
Run the service and its page: a supervisor that keeps the workers alive.
SIGTERM or Ctrl-C ends it when all that it has taken is answered; SIGHUP
replaces the workers one by one without a gap.
"""

COMPLETION = """\
Print what lets the Tab key complete commands and options. Once, for bash:

  warmbranch completion bash >> ~/.bashrc

and for zsh and fish likewise: ~/.zshrc, ~/.config/fish/config.fish.
"""

STEADY = """\
examples:
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch steady my.json              temperatures, resonance, what to mind
  warmbranch steady my.json --full       with cautions and safety at length
  warmbranch steady my.json --set main_pipe.gas_temperature_degC=340
  warmbranch steady my.json --json > answer.json   every number, for programs

Only the branch, the main pipe's sizes and its gas temperature must be given.
Left out, a field takes its default, and the answer says what was assumed. Add
"attenuation": {"rpm_from": 1500, "rpm_to": 3500, "points": 21} for the
transmission loss over the rpm. Pictures need pip install 'warmbranch[plot]'.
"""

FIT = """\
examples:
  warmbranch example fit > fit.json      a request with readings, to change
  warmbranch fit fit.json                what was learned, to read next, to cut
  warmbranch fit fit.json --since-start "25 min"   after a cold start
  warmbranch fit fit.json --set while_read.air_speed_m_s=0.5   it stood still
  warmbranch fit fit.json --calibration learned.json   keep what was learned
  warmbranch example readings > r.csv    readings as a table
  warmbranch example van > my.json       a request without any
  warmbranch fit my.json --readings r.csv   the two together

A reading says where along the branch, in mm from the mouth, and what the
thermometer displayed. An infrared one needs to know what it looked at: aim at
a patch of matt black paint or tape, since bare metal reads far too cold. A
table may come from a spreadsheet: headings as you like them (position,
temperature °F, surface, notes), commas or semicolons, decimal commas.

"heard" is the rpm at which the drone was quietest, with how sure you are:
[{"quiet_rpm": 2380, "uncertainty_rpm": 25}]. With a "target_rpm" the answer
says how much to cut. The calibration goes into "case.closures.calibration".

Hot metal burns, and an engine that runs gives off carbon monoxide: read
outdoors, keep clear of moving parts, never go under a vehicle that stands on
a jack alone.
"""

LEARN = """\
examples:
  warmbranch example fit > van.json      a finished job: read, and heard
  warmbranch example heard > bus.json    another one, only heard
  warmbranch learn van.json bus.json --output shop.json   learn from both
  warmbranch example fit > my.json       the next one
  warmbranch length my.json --rpm 2350 --calibration shop.json
  warmbranch fit my.json --shop shop.json   once it is built, and read
  warmbranch learn my.json --add-to shop.json --output shop.json   one more job

A job is what fit takes, or a file that the page saved; its "name", else that
of its file, tells it from others. The answer holds each job against what all
others say of it, and names the one that stands apart. The file keeps what
later jobs are added to, and no readings.

Trust it for jobs of one kind: the same fuel, the same shape of mouth, in the
range of sizes that it was learned on. Outside it fades, and says so.
"""

LENGTH = """\
examples:
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch length my.json --rpm 2350   how long to build it, how to trim it
  warmbranch example length > cut.json   a request that holds its target, too
  warmbranch length cut.json             length, trim steps, cut list
  warmbranch length cut.json --csv > cut.csv   the same for a spreadsheet
  warmbranch example loudness > loud.json   loudness over rpm; ways of running
  warmbranch length loud.json            one length that serves them all

"target" is the rpm to quieten, {"quiet_rpm": 2350}, its tone in Hz, or loudness
as a phone told it. The length that FILE gives is only where the search begins.
Build long and trim: what is cut off cannot be put back.
"""

WARMUP = """\
examples:
  warmbranch example van > my.json       a request to change to your own pipe
  warmbranch warmup my.json              a cold start: how far off, how long
  warmbranch example warmup > drive.json   idle, cruise, stop; a map of weather
  warmbranch warmup drive.json           how far the quiet rpm wanders

Left out, the gas rises from the temperature of the air to the running one with
time constants that the answer tells. Curves of "gas_temperature_curve",
"mass_flow_curve" and "air_speed_curve" take their place.
"""
