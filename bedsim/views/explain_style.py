"""The look of the page that explains: paper and ink, nothing from elsewhere."""

STYLE = """
:root { --paper: #fbfaf7; --ink: #24211d; --quiet: #5d574e; --rule: #d8d2c6; --card: #f2efe8;
  --accent: #0b5a7a; }
@media (prefers-color-scheme: dark) {
  :root { --paper: #191b1c; --ink: #e9e5dd; --quiet: #b0a99d; --rule: #3d4143; --card: #232628;
    --accent: #7cc4e4; }
}
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body { margin: 0 auto; padding: 0 1.1rem 3rem; max-width: 58rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.5 system-ui, "DejaVu Sans", sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 2rem 0 .3rem; }
h2 { font-size: 1.25rem; margin: 2.6rem 0 .6rem; padding-top: .5rem; border-top: 3px solid var(--accent); }
h3 { font-size: 1.02rem; margin: 1.6rem 0 .3rem; }
h4 { font-size: .95rem; margin: 1rem 0 .2rem; color: var(--quiet); }
p, li { max-width: 44rem; }
a { color: var(--accent); }
a:focus-visible, pre:focus-visible, summary:focus-visible { outline: 3px solid var(--accent);
  outline-offset: 2px; }
.skip { position: absolute; left: -100rem; }
.skip:focus { left: 1rem; top: .5rem; background: var(--paper); padding: .4rem .7rem; z-index: 1; }
nav ul { list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: .1rem 1.2rem; }
nav a { display: inline-block; padding: .35rem 0; }
summary { cursor: pointer; padding: .35rem 0; min-height: 24px; }
details { border-bottom: 1px solid var(--rule); }
details[open] { padding-bottom: .8rem; }
dl { margin: .3rem 0; }
dt { color: var(--quiet); font-size: .88rem; margin-top: .4rem; }
dd { margin: 0 0 0 1rem; max-width: 44rem; }
pre, .math { font: .84rem/1.45 ui-monospace, "DejaVu Sans Mono", monospace; background: var(--card);
  border: 1px solid var(--rule); padding: .7rem; overflow-x: auto; white-space: pre; margin: .5rem 0; }
.math { border-left: 4px solid var(--accent); }
figure { margin: 1rem 0; padding: .6rem; background: #fff; border: 1px solid var(--rule); }
figure img { display: block; max-width: 100%; height: auto; }
figcaption { color: #5b554c; padding-top: .4rem; font-size: .88rem; }
footer { color: var(--quiet); font-size: .88rem; margin-top: 3rem; }
@media print { details > * { display: block; } nav { display: none; } body { max-width: none; } }
"""
