"""Pure sugar craft: from "40 jars of this design" to what to weigh, how hot, how much of each colour, how big a log.

Nothing here reads a clock, a file or a database: bytes and plain dataclasses come in, plain dataclasses, text and bytes
go out. The doors::

    picture.read_design(legend_bytes, picture_bytes) -> PictureDesign
    plan.plan_batch(SheetRequest) -> BatchSheet               whole numbers only; sheet.sheet_to_plain for keeping
    sheet_html.render_html(sheet, units) -> str               units: "metric" or "us"
    sheet_pdf.render_pdf(sheet, units) -> bytes
    build_pdf.render_build_pdf(sheet, units) -> bytes         the section at build size, one to one
    picture_render.picture_png(design, size) -> bytes
    compare.plan_against_actual(sheet, actual) -> lines of planned, actual, off

=====================  ================================================================
``water``              where water boils here today; the thermometer check
``boiling``            boiling point against solids, with its sources and its band
``cook``               charge, evaporation, yield, kettle loads, dissolving water
``process_yield``      good pieces out of cooked mass, from recent batches
``density``            clear, pulled, mixed; learned from weighed pieces; softening
``geometry``           log to rod to piece
``lots``               first expired, first out
``picture*``, ``svg_path``, ``thinness``   the picture: read, checked, measured, drawn
``portions``           masses of the portions, pours, bars
``sheet*``, ``plan``, ``compare``          the batch sheet
=====================  ================================================================
"""
