"""How the rule book looks, on a screen and on paper: black on white, nothing loaded from anywhere."""

STYLE = """
:root { --rule: #444; --pale: #f2f2f2; }
* { box-sizing: border-box; }
body { font: 16px/1.45 Georgia, "Times New Roman", serif; color: #000; background: #fff; margin: 0 auto;
       max-width: 62rem; padding: 1.5rem; }
h1 { font-size: 2rem; margin: 0 0 .5rem; } h2 { font-size: 1.5rem; border-bottom: 2px solid #000; margin-top: 2.5rem; }
h3.stratum { font-size: 1.25rem; background: #000; color: #fff; padding: .3rem .6rem; }
h3 { font-size: 1.1rem; margin-bottom: .2rem; } h4 { font-size: 1.05rem; margin: 0 0 .4rem; }
a { color: #003a8c; text-decoration: underline; text-decoration-thickness: 1px; }
nav ol { columns: 2; }
.links { columns: 2; column-gap: 2rem; padding-left: 1rem; margin-top: .2rem; } .links li { break-inside: avoid; }
.caution { border: 3px solid #000; padding: .6rem .8rem; font-weight: bold; }
.rule { border: 1px solid var(--rule); border-left-width: 6px; padding: .7rem .9rem; margin: .8rem 0; }
.rule:target, tr:has(:target) { outline: 3px solid #003a8c; }
.mark { font: bold .75rem/1 Arial, sans-serif; border: 1px solid #000; border-radius: 3px; padding: .1rem .35rem;
        margin-left: .4rem; white-space: nowrap; }
dl { display: grid; grid-template-columns: 7.5rem 1fr; gap: .25rem .8rem; margin: 0; }
dt { font: .85rem/1.7 Arial, sans-serif; color: #333; } dd { margin: 0; overflow-wrap: anywhere; }
dd ul { margin: 0; padding-left: 1.1rem; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { border: 1px solid var(--rule); padding: .3rem .45rem; text-align: left; vertical-align: top; }
td:first-child { white-space: nowrap; }
th { background: var(--pale); font-family: Arial, sans-serif; font-size: .8rem; overflow-wrap: normal; }
.found { color: #444; font-size: .8rem; overflow-wrap: anywhere; }
.index { columns: 2; column-gap: 2rem; padding-left: 1rem; } .index li { break-inside: avoid; }
@media (max-width: 40rem) { dl { grid-template-columns: 1fr; } nav ol, .index, .links { columns: 1; }
  table { display: block; overflow-x: auto; } }
@page { size: auto; margin: 14mm 12mm; @bottom-right { content: counter(page); } }
@media print { html { font-size: 8.5pt; } body { max-width: none; padding: 0; font-size: 1rem; line-height: 1.3; }
  a { color: #000; text-decoration: none; } section { break-before: page; } #read { break-before: auto; }
  .rules { columns: 2; column-gap: 6mm; } .rule { padding: .35rem .5rem; margin: 0 0 .5rem; }
  dl { grid-template-columns: 5.6rem 1fr; gap: .1rem .5rem; } dt { line-height: 1.5; }
  .rule, tr { break-inside: avoid; } .decision { orphans: 3; widows: 3; } thead { display: table-header-group; }
  h2, h3, h4 { break-after: avoid; } h3.stratum { color: #000; background: none; border: 2px solid #000; } }
"""
