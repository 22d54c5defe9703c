# SPDX-License-Identifier: MIT
"""What `sagline hand --help` says around its options."""

DESCRIPTION = """Find E and r from readings taken by hand, with uncertainty and the working.

  voltmeter  the cell's voltage open and under a load of known ohms (--load), with the current
             read (--amps), or on a load of known watts (--watts)
  line       loaded voltages on several loads or at several currents: the V-I line
  slidewire  balance lengths in cm, open and with a load across the cell
  FILE.csv   the same from a file

Type readings in the order they were taken. Each --load (or --amps, --watts) closes a group of the
--open and --loaded since the last one; several in a group are repeats, and several groups on one
load are repeats of the whole. --open behind the last group was read afterwards. Type every digit
that was read, 1.50 and not 1.5: without a stated uncertainty the last digit is all that is
known. A decimal comma will do.
"""

EPILOG = """examples:
  sagline hand voltmeter --open 1.580 --loaded 1.492 --load 10.0 --u-volts 0.002 --closed-s 2
  sagline hand line --loaded 1.49 --amps 0.15 --loaded 1.40 --amps 0.31 --loaded 1.32 --amps 0.45
  sagline hand slidewire --open 76.3 --loaded 64.8 --load 9.5 --null-width 0.2
  sagline hand line --loaded 2.00 --amps 40 --loaded 1.92 --amps 200 --closed-each 20 5 \
      --rated-amps 10
  sagline hand readings.csv --label kitchen-3

uncertainties:
  --u-... is a standard uncertainty, in the unit of the reading or as a share of it (0.5%): what
  the instrument may be off by however often it is read, taken as independent between open and
  loaded. From limits of ±a alike likely everywhere it is a/1.73. The scatter of repeats is found
  from the readings.

a file:
  # way: voltmeter
  # u_volts: 0.002
  open_v,loaded_v,load_ohm
  1.580,1.492,10.0
  1.579,1.491,10.0
  Columns: open_v or open_cm, loaded_v or loaded_cm, and load_ohm, current_a or power_w. Lines
  with # hold options by name: label, closed_s, u_ohm, end_correction ...

before you connect anything:
  Close the key only while you read, and never short a cell. Loads get hot. Use no swollen, hot or
  leaking cell; keep coin cells away from children. Do not bridge lead-acid or lithium batteries;
  fuse them at the battery. The maker's data sheet comes first.
"""
