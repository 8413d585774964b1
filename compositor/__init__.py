"""compositor: place photographs of different cameras into one picture by camera geometry.

One line per room (a room may use the rooms below it, never one beside or above it):

cli       the command line: a command parses, calls one job, prints its record
jobs      one file per thing a user asks for; the only place with clocks, environment and processes
report    records to JSON · overlay: plan to the debug picture · deliver: layers to files
render    plan and pictures to layers and their composite · audit: plan to findings
solve     scene and facts to plan: cameras, placements, assumptions made
plan      the Plan and its frozen parts, their stable JSON form
scene     what the user wrote · measure: pictures to facts · files: opening and writing pictures
pixels    alpha, warps, fills · geometry: cameras, horizons, planes · colour: transfer curves, profiles
base      errors, array kinds, house tolerances
"""

__version__ = "0.1.0"
