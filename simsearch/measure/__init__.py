"""Measuring a find in its photo: a printed card, two clicked points; and advice on photos.

``layout`` says where everything on the card is, ``card`` prints it, ``find_card`` finds it in a
photo and fits the plane (``plane``), ``squared`` straightens the picture, ``outline`` finds the
object on the paper, ``sizes`` turns an outline into millimetres with an error, ``by_card`` does
all of that in turn. ``two_points`` works without a card, ``advice`` looks at a photo before a
search.
"""
