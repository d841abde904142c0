"""Looking around a set: search by words, filters, what looks alike, the overview picture.

Everything here answers with plain data; the page and the commands put it into words and HTML.
"""
