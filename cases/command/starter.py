"""The commented file that `headjoint new` writes."""

STARTER = """\
# A joint for headjoint: one stud or bolt with its share of head, gasket and block.
# Quantities are text with a unit ("1.2 mm", "90 lbf.ft", "245 degF", "1300 psi") or bare numbers in
# mm, N, MPa, N.mm, degC. Lines marked (default) may be left out. The numbers below are invented: put in your own.
#
# The fastener stands on the axis. What lies around it in the engine becomes rings: the gasket ring from its
# hole outwards, the sealing bead as the ring nearest the gas, and beyond it the ring on which combustion
# pushes the head.

name = "my joint"
note = "invented starter values"

[fastener]
kind = "stud"                  # "stud" (with [nut]) or "bolt" (with [bolt_head])
thread = "M11x1.25"            # `headjoint list threads`
material = "AISI 8740"         # `headjoint list materials`
# property_class = "12.9"      # strengths from a class instead; `headjoint list classes`
# material = { E = "205 GPa", nu = 0.3, expansion = "12e-6 1/K" }                  # every constant stated directly
# material = { base = "AISI 4340", E = "204 GPa", yield_strength = "1150 MPa" }   # any value stated directly
engagement = "22 mm"           # engaged thread in the block
# thread_compliance = "standard"  # (default) adds the thread-tooth term of VDI 2230; "bonded" adds nothing
# rolled = "after heat treatment" # or "before heat treatment": sets the endurance limit; (default) the lower of both
# run_out = "2.5 mm"              # of the engagement, without full threads; default two pitches

[[fastener.segments]]          # from the nut or bolt head down to the block's first engaged thread
length = "12 mm"
thread = true                  # free thread: its core diameter is used

[[fastener.segments]]
diameter = "10.2 mm"           # shank or waist; one segment may leave its length out and takes the rest

[[fastener.segments]]
length = "6 mm"
thread = true

[nut]                          # [bolt_head] for a bolt; every line has a default from the thread's hexagon
height = "11 mm"
bearing_outer_diameter = "17 mm"
outer_diameter = "17 mm"
contact = "frictionless"       # (default) or "tied"

[washer]                       # leave the table out when there is none
inner_diameter = "11.5 mm"
outer_diameter = "24 mm"
thickness = "4 mm"             # spreads the force: d_W + 1.6 of it bears
material = "EN 1.7225"

[head]
height = "88 mm"               # from gasket to the face under washer or nut
outer_diameter = "72 mm"       # one fastener's share
hole_diameter = "12 mm"
material = "EN AC-42100"

[gasket]
thickness = "0.75 mm"          # between deck and head when the highest zone just touches
expansion = "16e-6 1/K"

[[gasket.zones]]
name = "body"
law = "multi-layer steel body" # `headjoint list laws`, or a law of your own as below
inner_diameter = "14 mm"
outer_diameter = "36 mm"
step = "0.105 mm"              # lower than the highest zone by this

[[gasket.zones]]
name = "bead"
law = "multi-layer steel bead"
inner_diameter = "36 mm"
outer_diameter = "41 mm"
sealing = true                 # the zone that must hold the gas; its middle is the sealing line

[[gasket.zones]]
name = "stopper"
law = "multi-layer steel stopper"
inner_diameter = "41 mm"
outer_diameter = "45 mm"
step = "0.10 mm"

# [gasket.laws."my measured law"]        # then: law = "my measured law"
# closure = ["0 mm", "0.05 mm", "0.10 mm"]
# pressure = ["0 MPa", "12 MPa", "40 MPa"]
# unloading_stiffness = "1500 MPa/mm"    # at least the steepest loading slope; left out: no set is kept
# In place of the rows: file = "bead.csv" with columns 'closure [mm], pressure [MPa]', or layers one upon another,
# series = ["multi-layer steel bead", "multi-layer steel bead"]. Look at a law: headjoint law FILE

[block]
height = "120 mm"
outer_diameter = "72 mm"
counterbore_diameter = "12 mm"
counterbore_depth = "10 mm"
material = "EN-GJL-250"

[gas]
inner_diameter = "45 mm"       # ring on which combustion pushes head and block apart; faces = "head": the head alone
outer_diameter = "72 mm"
force_area = "2460 mm2"        # bore area this fastener answers for: bores x area / fasteners

[tightening]
method = "torque"              # or "preload" with preload = "66 kN"
torque = "68 lbf.ft"
thread_friction = 0.12
bearing_friction = 0.12
scatter = "torque wrench, tested on the joint"   # `headjoint list tightening`, or the factor alpha_A, such as 1.5
roughness = "Rz 10 to 40 um"   # (default) sets the embedding; or state embedding = "8 um"

[[load_cases]]                 # in the order in which the joint meets them; the first is the assembly
name = "assembly"
kind = "assembly"
temperature = "20 degC"

[[load_cases]]
name = "hot"
kind = "hot"
temperatures = { head = "118 degC", fastener = "108 degC", block = "104 degC" }

[[load_cases]]
name = "firing"
kind = "firing"
temperatures = { head = "118 degC", fastener = "108 degC", block = "104 degC" }
gas_pressure = "110 bar"

[[load_cases]]
name = "cold again"
kind = "cold"
temperature = "20 degC"

[requirements]                 # least values the verdict asks for (defaults shown)
sealing_ratio = 1.5            # sealing-line pressure over gas pressure
sealing_minimum = "5 MPa"      # sealing-line pressure in every state
separation_factor = 1.2        # on combustion pressure before the sealing line falls short
yield_factor = 1.05
fatigue_factor = 1.2
bearing_factor = 1.0
stripping_factor = 1.25
clamp_kept = 0.8               # clamp after cooling over clamp at assembly

# `headjoint history` runs a service; without one here, a day's wait and a hundred heat cycles. For example:
# [[history]]
# do = "tighten"               # as [tightening] says; or torque = [...], angle = "90 deg", yield_slope, stretch, pull
# [[history]]
# do = "wait"
# duration = "24 h"
# [[history]]
# do = "repeat"
# times = 200
# [[history.steps]]
# do = "run"
# case = "firing"
# duration = "1 h"
# [[history.steps]]
# do = "cool"
# duration = "1 h"
"""
