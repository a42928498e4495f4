"""The look of a build sheet: black on white, one column, fit for A4 and for a screen.

Colours: M. Okabe and K. Ito, "Color Universal Design" (2008), told apart with any colour vision; none carries a
meaning that a word or a pattern beside it does not.
"""

STYLE = """
:root { --ink: #111; --quiet: #555; --rule: #bbb; --blue: #0072B2; --red: #D55E00; --green: #009E73; }
* { box-sizing: border-box; }
body { color: var(--ink); background: #fff; font: 15px/1.45 "DejaVu Sans", Verdana, sans-serif; margin: 0 auto;
  max-width: 54rem; padding: 1.5rem 1rem 4rem; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0 0 .3rem; overflow-wrap: anywhere; }
h2 { font-size: 1.15rem; border-bottom: 2px solid var(--ink); margin: 2.2rem 0 .7rem; padding-bottom: .15rem;
  break-after: avoid; }
h3 { font-size: 1rem; margin: 1.3rem 0 .4rem; break-after: avoid; }
p { margin: .5rem 0; }
.quiet, figcaption, .source { color: var(--quiet); font-size: .86em; }
.facts { display: grid; grid-template-columns: repeat(auto-fit, minmax(14rem, 1fr)); gap: .6rem 1.4rem;
  margin: 1.1rem 0; }
.facts div { border-left: 4px solid var(--blue); padding-left: .6rem; }
.facts b { display: block; font-size: 1.25rem; }
.wrong { border: 3px solid var(--red); padding: .5rem .8rem; margin: 1rem 0; break-inside: avoid; }
.care { border: 2px solid var(--ink); padding: .2rem 1rem .4rem 2rem; }
.care li { margin: .45rem 0; break-inside: avoid; }
table { border-collapse: collapse; width: 100%; margin: .6rem 0; font-size: .9em; }
th, td { text-align: left; vertical-align: top; padding: .22rem .5rem .22rem 0; border-bottom: 1px solid var(--rule);
  overflow-wrap: anywhere; }
th { border-bottom: 1.5px solid var(--ink); }
td.n, th.n { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; padding-right: .9rem; }
tr { break-inside: avoid; }
tr.limit td { font-weight: bold; }
.steps { table-layout: fixed; }
.steps th, .steps td { text-align: center; padding: .2rem 0; border: 1px solid var(--rule); overflow-wrap: normal; }
.steps th:first-child, .steps td:first-child { text-align: left; width: 9.5rem; padding-left: .3rem;
  overflow-wrap: anywhere; }
.steps .on { background: #d6e6f0; font-weight: bold; }
.made td:first-child { white-space: nowrap; padding-right: 1rem; }
.spec { font-family: "DejaVu Sans Mono", monospace; font-size: .8em; overflow-wrap: anywhere; }
ol.work li { margin: .5rem 0; break-inside: avoid; }
figure { margin: 1rem 0; break-inside: avoid; }
svg { width: 100%; height: auto; display: block; }
svg text { font-family: "DejaVu Sans", Verdana, sans-serif; font-size: 10px; fill: var(--ink); }
@page { size: A4; margin: 14mm 13mm 16mm; }
@media print {
  body { max-width: none; padding: 0; font-size: 9.5pt; }
  thead { display: table-header-group; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""
