# SPDX-License-Identifier: MIT
"""How the page looks: on a wide screen, on a narrow one, and on paper, in black and white too."""

CSS = """
:root { color-scheme: light dark; --ink: #1b1b1b; --soft: #5c5c5c; --rule: #b9b9b9;
  --paper: #ffffff; --wash: #f3f1ec; --pen: #0b4f6c; --other: #9a4a00; }
@media (prefers-color-scheme: dark) { :root { --ink: #ececec; --soft: #ababab; --rule: #5a5a5a;
  --paper: #17181a; --wash: #222428; --pen: #8fd0ec; --other: #f0b074; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.5 Georgia, "Times New Roman", serif; }
main { max-width: 46rem; margin: 0 auto; padding: 1.5rem 1rem 3rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0 0 .3rem; }
h2 { font-size: 1.1rem; margin: 2rem 0 .5rem; border-bottom: 1px solid var(--rule); }
p { margin: .5rem 0; }
.lead { color: var(--soft); margin: 0 0 1rem; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; padding: .2rem .6rem .2rem 0; vertical-align: top;
  border-bottom: 1px solid var(--rule); overflow-wrap: anywhere; }
th { font-weight: normal; color: var(--soft); }
.wide { overflow-x: auto; }
.wide th, .wide td { overflow-wrap: break-word; }
.wide td:first-child { overflow-wrap: anywhere; min-width: 6rem; }
.about th { width: 9rem; }
.result { background: var(--wash); border-left: .3rem solid var(--pen); padding: .6rem 1rem; }
.result p { margin: .2rem 0; }
.result .big { font-size: 1.25rem; }
pre { font: .9rem/1.45 ui-monospace, Menlo, Consolas, monospace; white-space: pre-wrap;
  background: var(--wash); padding: .6rem 1rem; margin: .5rem 0; overflow-x: auto; }
figure { margin: 1rem 0; }
figcaption { color: var(--soft); font-size: .9rem; }
svg { width: 100%; height: auto; display: block; }
svg text { font: 13px/1 system-ui, sans-serif; fill: var(--ink); }
svg .soft { fill: var(--soft); }
svg .axis, svg .wire { stroke: var(--ink); fill: none; stroke-width: 1.3; }
svg .grid { stroke: var(--rule); stroke-width: .6; }
svg .curve { stroke: var(--pen); fill: none; stroke-width: 1.8; }
svg .bound { stroke: var(--other); fill: none; stroke-width: 1.3; stroke-dasharray: 6 4; }
svg .mark { fill: var(--paper); stroke: var(--pen); stroke-width: 1.8; }
svg .error { stroke: var(--pen); stroke-width: 1.2; }
svg .bar { fill: var(--pen); }
ol li { margin: .4rem 0; }
.ruled div { border-bottom: 1px solid var(--rule); height: 2.1rem; }
.cite { font-size: .85rem; color: var(--soft); overflow-wrap: anywhere; }
@media screen and (max-width: 36rem) { figure { overflow-x: auto; } svg { min-width: 28rem; } }
@media print {
  :root { --ink: #000; --soft: #333; --rule: #999; --paper: #fff; --wash: #fff; --pen: #000;
    --other: #000; }
  body { font-size: 10.5pt; }
  main { max-width: none; padding: 0; }
  svg { max-width: 130mm; }
  h2, figure, .result, tr, .ruled { break-inside: avoid; }
  h2 { break-after: avoid; }
  .result { border: 1px solid #000; }
}
@page { margin: 18mm 16mm; }
"""
