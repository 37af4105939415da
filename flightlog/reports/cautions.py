"""What stands on every release and sheet, in the same words."""

from __future__ import annotations

RECORD = (
    "This is a team record and no certificate. Local law, the rule book in force and licensed "
    "practice prevail. A signature shows who said what, not that it is true."
)
PROPELLER = (
    "A motor can start whenever its battery is connected. Stay out of the propeller's plane, and "
    "restrain the aircraft for runs on the ground."
)
LITHIUM = (
    "Lithium batteries burn when they are crushed, shorted, overcharged or too hot. Set a swollen, "
    "dented or hot pack aside outdoors, away from people, and do not charge it."
)
PEOPLE = "Keep everybody behind the start line and away from the strip and its ends."

STAND = (
    "On a stand the propeller pulls itself free where a bolt lets go: guard it, stay out of its "
    "plane and its stream, and stop it from a distance."
)
DISCHARGING = (
    "Discharge a pack outdoors or in a fireproof place, never unattended and never below the "
    "maker's least voltage of any cell. " + LITHIUM
)
LOADS = (
    "A loaded structure can break and a weight can fall: keep hands, feet and faces away, and load "
    "it no further than its own limits."
)

CAUTIONS = (RECORD, PROPELLER, LITHIUM, PEOPLE)
