# SPDX-License-Identifier: MIT
"""The help page of each room."""

EVERYWHERE = (
    "",
    "1 2 3    go to Bench, Drawer, Logbook; what goes on at the rig goes on",
    "Ctrl-P   all that can be done here, to be chosen by name",
    "? or F1  this page",
    "q        quit; the load goes off and the rig is closed",
)

BENCH = (
    "A cell is taken as an EMF E behind an internal resistance r. With nothing connected its "
    "terminals show E. With a load the current I flows and they show V, which is lower: the "
    "sag. So r = (E − V) / I, and r(0.1 s) is that one tenth of a second after the load went on.",
    "",
    "Left, the equation fills with its numbers; below it the repeats. Right, the newest one: "
    "terminal voltage against time since load on, with the levels of E and V at its edge. "
    "Figures are provisional until the last repeat is in; then ± gives the interval in which "
    "the true value lies with a probability of 95 %, as long as the rig's parts keep to their "
    "limits.",
    "",
    "s        start a measurement, or open a lost rig again and measure",
    "x        stop it; the load goes off",
    "w        the working: each equation with its numbers, to be followed on a calculator",
    "b        the budget: what u² of r and of E is made of, as bars; a high window shows it below "
    "the repeats",
    "n        notes: what must be known beside the figures, and the budget",
    "a        your answer, where the screen was begun with --teach: your r is held against the "
    "run's, which is kept back until then",
    *EVERYWHERE,
    "",
    "Without the screen: sagline measure prints the same as lines, --json as JSON.",
)

DRAWER = (
    "Many cells, one after the other, with one hand on them. The label is told before the cell is "
    "put in. As soon as it makes contact and has come to rest it is measured, by a quick plan in "
    "under 10 s; then take it out and put the next one in. Nothing need be pressed.",
    "",
    "A row: label, what the cell is, E, r with U at 95 %, how r scatters between turns in the "
    "holder, r beside your own reference with E_n (beyond 1 the two differ by more than their U), "
    "and its state or group. A cell without figures says why below the rows.",
    "",
    "b        begin a drawer",
    "r        go on with one, also after a crash",
    "Space    in a pause: measure the cell all the same",
    "k        no cell in this place; in a pause: leave this cell out",
    "x        stop the run that goes on; the load goes off",
    "a        measure the last cell once more; turn it in its holder first",
    "u        undo: take the last thing back",
    "l        the next cell's label",
    "n        call the last cell something else",
    "c        what the cells are: LR6, 6LR61; nothing for unknown",
    "f        the chosen row's cell is your reference for its designation",
    "e        end; the drawer can be gone on with",
    "/        show the rows that have these words",
    "o        order: by the next column",
    "v        the largest first, or the smallest",
    "t        groups whose r lie within so many per cent of each other",
    "g        the groups on a page of their own",
    "m        ring when a cell may be taken out, or do not",
    "↑ ↓      choose a row",
    *EVERYWHERE,
    "",
    "Before you connect it: read a pack that you do not know with a voltmeter; the rig bears "
    "16.5 V at most. Put no swollen, leaking or hot cell in: set it aside as its maker and your "
    "local rules say.",
    "",
    "Without the screen: sagline drawer.",
)

LOGBOOK = (
    "Every run that was kept, the newest first: its id, when it began, what the cell is, E, and r "
    "with U at 95 %. A run that was cut off says so in place of figures.",
    "",
    "↑ ↓      choose a run",
    "Enter    show it: how it was made, its result, the working, the budget",
    "/        search: runs with these words in label, cell, rig, operator, note or id",
    "o        the cell over time: every run of its label, r on one scale",
    "l        another label; the earlier one stays in the log",
    "n        a note beside it, in place of the last one",
    "c        compute it again by this version's method; the results that it has stay",
    "e        write it to a file: .csv for a table, .json for its result",
    "w        write all that are listed to one file",
    "d        delete it: out of the lists, and not erased; among the deleted: restore it",
    "u        undo what was done here last",
    "b        the deleted ones, and back",
    "m        the other log: that of simulated runs, or that of real ones",
    *EVERYWHERE,
    "",
    "Without the screen: sagline log; simulated runs with --demo.",
)
