"""The look of the report page: paper and ink, one accent, no fonts or files from elsewhere."""

STYLE = """
:root {
  --paper: #fbfaf7; --ink: #24211d; --quiet: #655f56; --rule: #d8d2c6; --card: #f2efe8;
  --accent: #0b5a7a; --warn: #8a3b00; --warn-card: #fbeee3;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #191b1c; --ink: #e9e5dd; --quiet: #b0a99d; --rule: #3d4143; --card: #232628;
    --accent: #7cc4e4; --warn: #ffb27a; --warn-card: #33261c;
  }
}
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body {
  margin: 0 auto; padding: 0 1.1rem 3rem; max-width: 62rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.55 Georgia, "DejaVu Serif", serif; overflow-wrap: anywhere;
}
h1, h2, h3, nav, table, figcaption, footer, header p { font-family: system-ui, "DejaVu Sans", sans-serif; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 2rem 0 .3rem; }
h2 { font-size: 1.2rem; margin: 2.4rem 0 .6rem; padding-top: .5rem; border-top: 3px solid var(--accent); }
h3 { font-size: 1rem; margin: 1.4rem 0 .4rem; }
p, li { max-width: 44rem; }
header p, footer, figcaption, caption { color: var(--quiet); font-size: .88rem; }
a { color: var(--accent); }
a:focus-visible, pre:focus-visible, .scroll:focus-visible { outline: 3px solid var(--accent);
    outline-offset: 2px; }
.skip { position: absolute; left: -100rem; }
.skip:focus { left: 1rem; top: .5rem; background: var(--paper); padding: .4rem .7rem; z-index: 1; }
nav ul { list-style: none; margin: 1rem 0 0; padding: 0; display: flex; flex-wrap: wrap;
    gap: .1rem 1.2rem; }
nav a { display: inline-block; padding: .35rem 0; font-size: .92rem; }
section.verdict > p { font-size: 1.18rem; line-height: 1.45; }
section.caution { background: var(--warn-card); border-left: 5px solid var(--warn);
    padding: .2rem 1rem .8rem; margin-top: 2.4rem; }
section.caution h2 { border: 0; margin-top: .6rem; color: var(--warn); }
ul { padding-left: 1.2rem; }
li { margin: .25rem 0; }
figure { margin: 1.4rem 0; padding: .6rem; background: #fff; border: 1px solid var(--rule);
    border-radius: 4px; }
figure img { display: block; max-width: 100%; height: auto; margin: 0 auto; }
figure .scroll { margin: 0; }
figcaption { color: #5b554c; padding: .5rem .2rem 0; }
.scroll { overflow-x: auto; margin: 1.2rem 0; }
table { border-collapse: collapse; font-size: .9rem; min-width: 20rem; overflow-wrap: normal; }
caption { text-align: left; padding-bottom: .4rem; max-width: calc(100vw - 2.4rem); }
th, td { text-align: left; padding: .32rem 1rem .32rem 0; border-bottom: 1px solid var(--rule);
    vertical-align: top; }
thead th { border-bottom: 2px solid var(--ink); }
tbody th { font-weight: 500; }
td.number { font-variant-numeric: tabular-nums; white-space: nowrap; }
pre {
  font: .82rem/1.45 ui-monospace, "DejaVu Sans Mono", monospace; background: var(--card);
    border: 1px solid var(--rule);
  padding: .8rem; white-space: pre-wrap; overflow-wrap: anywhere; margin: 0;
}
@media (prefers-color-scheme: dark) { figure img { filter: brightness(.92);
    } figure { background: #ebebeb; } }
@media screen and (max-width: 38rem) {
  figcaption::after { content: " Slide the picture sideways to see all of it."; font-style: italic; }
}
@media print {
  :root { --paper: #fff; --ink: #000; --quiet: #333; --rule: #999; --card: #fff; --accent: #000;
    --warn: #000; --warn-card: #fff; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  nav, .skip { display: none; }
  figure, tr, section.caution { break-inside: avoid; }
  h2, h3 { break-after: avoid; }
  .scroll { overflow: visible; }
  figure { border: 0; padding: 0; background: #fff; } figure img { filter: none; }
}
"""
