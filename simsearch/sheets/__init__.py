"""PDF sheets for paper: one find, one type, look-alikes side by side.

``find.find_sheet``, ``type_sheet.type_sheet`` and ``look_alikes.look_alike_sheet`` each return the
bytes of a PDF on A4. Letters are embedded, nothing is fetched, and the same input on the same day
gives the same bytes.
"""
