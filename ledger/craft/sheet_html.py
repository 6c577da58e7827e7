"""The batch sheet as one self-contained HTML page, for the screen and for the browser's printer."""

from __future__ import annotations

from html import escape
from typing import Literal

import segno

from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_text import SAFETY, SAFETY_NOTE, Row, Units, sheet_text

Paper = Literal["a4", "letter"]

_STYLE = """
@page { size: %(paper)s; margin: 7mm }
* { box-sizing: border-box }
body { font: 13px/1.3 system-ui, sans-serif; color: #111; margin: 0 auto; max-width: 200mm; padding: 2mm }
header { display: flex; justify-content: space-between; gap: 4mm; border-bottom: 2px solid #111 }
h1 { font-size: 26px; margin: 0 } h2 { font-size: 14px; margin: 2.5mm 0 1mm; border-bottom: 1px solid #777 }
.batch { font-size: 30px; font-weight: 700; text-align: right; white-space: nowrap }
.qr svg, .qr img { width: 24mm; height: 24mm; display: block }
.facts { display: grid; grid-template-columns: repeat(6, 1fr); gap: 1.5mm; margin-top: 2mm }
.facts div { border: 1px solid #999; padding: 1mm 1.5mm } .facts b { display: block; font-size: 18px }
.facts small, figcaption, footer { color: #333; font-size: 11px }
main { display: grid; grid-template-columns: 62fr 38fr; gap: 4mm }
table { border-collapse: collapse; width: 100%% } td, th { text-align: left; padding: .6mm 1mm; vertical-align: top }
tr + tr td { border-top: 1px solid #ddd } .mass { font-weight: 700; font-size: 15px; white-space: nowrap }
.box { width: 18mm; min-width: 18mm; height: 6.5mm; border: 1.2px solid #111 !important }
.swatch { display: inline-block; width: 3.5mm; height: 3.5mm; border: 1px solid #555; margin-right: 1mm }
.caution { border: 2.5px solid #b00020; padding: 1.5mm 2mm; margin-top: 2mm } .flags li { margin: 0 }
.pictures { display: flex; justify-content: space-around; align-items: center } .at { white-space: nowrap }
.ruler { border: 1px solid #111; border-top: 0; font-size: 9px; text-align: center; margin-top: 2mm }
.flags { margin: 0; padding-left: 4mm } figure { margin: 0 0 1mm } * { print-color-adjust: exact; -webkit-print-color-adjust: exact }
@media print { body { font-size: 10.4px; line-height: 1.16; max-width: none; padding: 0 } h1 { font-size: 21px }
  h2 { font-size: 12px; margin: 1.2mm 0 .4mm } td, th { padding: .3mm 1mm } .box { height: 5mm } .mass { font-size: 12px }
  .facts b { font-size: 15px } .facts { margin-top: 1.2mm } .caution { margin-top: 1.2mm; padding: 1mm 2mm }
  .facts small, figcaption, footer { font-size: 9px } .batch { font-size: 24px } main { gap: 3mm } }
footer { margin-top: 2mm }
"""


def _table(head: str, rows: tuple[Row, ...], note: str = "lot") -> str:
    if not rows:
        return ""
    out = []
    for row in rows:
        swatch = f'<span class="swatch" style="background:{escape(row.colour)}"></span>' if row.colour else ""
        out.append(
            f"<tr><td>{swatch}{escape(row.title)}</td><td class=mass>{escape(row.mass)}</td>"
            f"<td>{escape(row.note)}</td><td class=box></td></tr>"
        )
    return (
        f"<h2>{escape(head)}</h2><table><tr><th>what</th><th>mass</th><th>{note}</th><th>weighed</th></tr>"
        f"{''.join(out)}</table>"
    )


def render_html(sheet: BatchSheet, units: Units, paper: Paper | None = None) -> str:
    """The sheet as HTML in metric or US units.

    Arguments:
        paper: ``a4`` or ``letter`` for printing; by default A4 for metric and Letter for US.
    """
    text = sheet_text(sheet, units)
    page = paper or ("letter" if units == "us" else "a4")
    qr = segno.make(sheet.address, error="m", micro=False).svg_inline(scale=1, border=2, omitsize=True)
    picture = f"data:image/png;base64,{sheet.picture_png_base64}"
    rod_mm, log_mm = sheet.sizes.rod_um / 1000, sheet.sizes.log_um / 1000
    shown_mm, ruler = min(log_mm, 42.0), "1in" if units == "us" else "20mm"
    facts = "".join(
        f"<div>{escape(label)}<b>{escape(value)}</b><small>{escape(remark)}</small></div>"
        for label, value, remark in text.facts
    )
    sizes = "".join(f"<tr><th>{escape(label)}</th><td>{escape(value)}</td></tr>" for label, value in text.sizes)
    build = "".join(
        f"<tr><td>{i}. {escape(title)} <b>{escape(note)}</b></td></tr>" for i, (title, note) in enumerate(text.build, 1)
    )
    steps = "".join(
        f"<tr><td>{i}. {escape(title)}</td><td class=mass>{escape(time)}</td><td class=at>{escape(heat)}</td>"
        "<td class=box></td></tr>"
        for i, (title, time, heat) in enumerate(text.steps, 1)
    )
    flags = "".join(f"<li>{escape(flag)}</li>" for flag in text.flags)
    cells = [f"<td>{escape(label)}</td><td class=box></td>" for label in text.actual]
    actual = "".join(f"<tr>{''.join(cells[i : i + 2])}</tr>" for i in range(0, len(cells), 2))
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{escape(sheet.batch)} {escape(text.title)}</title><style>{_STYLE % {"paper": page}}</style></head><body>
<header><div><h1>{escape(text.title)}</h1>{escape(text.subtitle)}<br>Allergens: <b>{escape(text.allergens)}</b><br>
{escape(text.changeover)}</div><div class="batch">{escape(sheet.batch)}</div><div class="qr">{qr}</div></header>
<div class="caution"><b>CAUTION</b> {escape(SAFETY)} <small>{escape(SAFETY_NOTE)}</small></div>
<div class="facts">{facts}</div>
<main><section>
{_table("In the kettle", text.kettle)}
{_table("After the cook", text.after)}
{_table("Pour", text.pours, note="make")}
{_table("Blend", text.blends, note="of")}
<h2>Steps</h2><table><tr><th>step</th><th>time</th><th>at</th><th>done</th></tr>{steps}</table>
<h2>What came of it</h2><table class="two">{actual}</table>
</section><section>
<h2>Picture</h2>
<div class="pictures"><figure><img alt="section of the log" src="{picture}"
style="width:{shown_mm:.1f}mm;height:{shown_mm:.1f}mm"><figcaption>log, 1 : {log_mm / shown_mm:.1f}</figcaption></figure>
<figure><img alt="section of the rod, true size" src="{picture}" style="width:{rod_mm:.2f}mm;height:{rod_mm:.2f}mm">
<figcaption>rod, true size</figcaption><div class="ruler" style="width:{ruler}">{ruler}</div></figure></div>
{escape(text.thin)}
<h2>Log to packs</h2><table>{sizes}</table>
<h2>Build</h2><table>{build}</table>
<h2>Look at first</h2><ul class="flags">{flags or "<li>nothing flagged</li>"}</ul>
</section></main><footer>{escape(text.footer)}</footer></body></html>
"""
