"""The first job sheet of a new job: it explains its own fields and reads as it stands."""

TEMPLATE = """\
# Job sheet: what is installed here, written before anything is measured.
#
#   # ...            a comment
#   name = value     text stands in quotes, figures stand alone: rating_A = 32
#   [table]          the lines below it belong to that table
#   [[board]]        one row of several; [[board.circuit]] is a circuit of the board above it
#
# The unit is the last part of a field's name (rating_A: amperes; length_m: metres).
# What is not known is left out, never guessed: a check that needs it says so by name.
# A line that starts with # is an example; take the # away to use it.

# The limit edition that verdicts rest on: choose the one in force for this installation. A name that
# comes with the program ("a2-a3", "before-a2"; shared/editions says what they are), or a file of your
# own in this folder.
limits = ""

# A previous record to compare with (a file in this folder); empty when there is none.
previous = ""

[job]
reference = "JOB-1"           # what this job is called on paper
site = ""                     # building and part of it
date = @TODAY@              # year-month-day
kind = "periodic"             # "initial", "periodic", "fault finding" or your own word

[supply]
earthing = "TN-C-S"           # "TN-C-S", "TN-S" or "TT"
phases = 1                    # 1 or 3
nominal_voltage_V = 230       # line to neutral
# main_fuse_A = 80
# main_fuse_standard = "BS 88-3"
# ze_ohm = 0.35               # by enquiry or earlier measurement

# One for each distribution board.
[[board]]
reference = "DB1"             # as it is called aloud
name = "main board"
# supplied_from = "DB0/8"     # board/circuit that feeds it; left out at the origin

# One for each RCD or RCBO of this board.
[[board.rcd]]
reference = "RCD1"
rated_residual_current_mA = 30
type = "A"                    # "AC", "A", "F" or "B"
# delayed = true              # selective, marked S
# rating_A = 63

# One for each way of this board.
[[board.circuit]]
number = "1"                  # its designation, in quotes: "5", "5L2"
name = "sockets, ground floor"
device = { standard = "BS EN 60898", type = "B", rating_A = 32, breaking_capacity_kA = 6 }
rcd = "RCD1"                  # an RCD of this board; left out when there is none
# cable = { line_mm2 = 2.5, cpc_mm2 = 1.5, length_m = 48 }   # length once round for a ring
# ring = true
# points = 9
# sockets = true              # feeds socket-outlets
# phase = "L1"                # "L1", "L2", "L3", or "3" for all three
# feeds = "DB2"               # the board that it supplies; left out on a final circuit
# disconnection_s = 0.4       # stated by the designer; otherwise the edition's rule
# loads = ["electronic"]      # kinds of load that matter to the type of RCD
# items = ["tea urn"]         # things on it that can be unplugged, as they are called aloud
# vulnerable = ["control panel"]  # equipment that an insulation test can damage

[[board.circuit]]
number = "2"
name = "lights, ground floor"
device = { standard = "BS EN 60898", type = "B", rating_A = 6, breaking_capacity_kA = 6 }
rcd = "RCD1"

# Instruments in use, as the crew calls them.
# [[instrument]]
# reference = "tester 1"
# kind = "multifunction"
# serial = ""
# calibration_due = @TODAY@
# accuracy_percent = 3

# What regrouping circuits over RCDs must respect: circuits by board/number, RCDs by reference.
# [regrouping]
# together = [["DB1/1", "DB1/2"]]   # each group ends up on one RCD
# apart = []                        # no two of a group share an RCD
# fixed = { "DB1/1" = "RCD1" }      # circuit = RCD
"""
