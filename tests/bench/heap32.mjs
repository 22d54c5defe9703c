// SPDX-License-Identifier: MIT
// What the firmware in a folder holds of the heap on 32-bit words; started by heap32.py.
//
// MicroPython's WebAssembly port runs the parts of tests/board/pico_full.py one by one. It collects
// at the top level only, so between two parts. Prints bytes held after each part, less what is
// held before the first.
import fs from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const PACKAGE = "@micropython/micropython-webassembly-pyscript";
const TESTS = path.join(path.dirname(fileURLToPath(import.meta.url)), "..");
const FIRMWARE = process.argv[2];

const found = createRequire(import.meta.url).resolve(`${PACKAGE}/micropython.mjs`);
const { loadMicroPython } = await import(pathToFileURL(found).href);
const board = await loadMicroPython({ heapsize: 4 * 1024 * 1024, stdout: (line) => console.log(line) });

function copy(from, to) {
  board.FS.mkdir(to);
  for (const entry of fs.readdirSync(from, { withFileTypes: true })) {
    const here = path.join(from, entry.name);
    if (entry.isDirectory()) copy(here, `${to}/${entry.name}`);
    if (entry.isFile()) board.FS.writeFile(`${to}/${entry.name}`, fs.readFileSync(here));
  }
}

let before = null;
function held(name) {
  for (let times = 0; times < 3; times++) board.runPython("import gc\ngc.collect()");
  board.runPython("import gc\nheld_now = gc.mem_alloc()");
  const bytes = board.globals.get("held_now");
  if (before === null) before = bytes;
  console.log(`${name.padEnd(34)} ${bytes - before}`);
}

copy(FIRMWARE, "/fw");
board.runPython(`
import sys
sys.path[:] = ["/fw", "/fw/lib"]
class Select:
    POLLIN, POLLOUT = 1, 4
    class poll:
        def register(self, *_): pass
        def poll(self, *_): return []
sys.modules["select"] = Select
`);
const script = fs.readFileSync(path.join(TESTS, "board", "pico_full.py"), "utf8");
board.runPython(script.replace(/\nmain\(\)\n$/, "\n"));
board.runPython(`
for name, module in (("machine", Machine), ("rp2", Rp2), ("time", Clock), ("sys", System)):
    sys.modules[name] = module
`);
held("before");
board.runPython("from boards.pico import PicoHardware\nfrom sagline_board.board import Board");
held("with code and tables");
board.runPython("hw = PicoHardware()");
held("with the Pico's front ends");
board.runPython("board = Board(hw)\nClock.now_us += 30000000\nboard.poll()");
held("with board, engine and record");
board.runPython(`
Clock.step_us = 400
board.receive(b"STEP:SEGM 0,5000;SEGM 8,1200;SEGM 0,2000;STAR\\n")
`);
for (let slices = 0; slices < 100; slices++) {
  board.runPython("for _ in range(100):\n if board.poll(): break");
  if (slices % 20 === 10) held("in the longest step");
}
