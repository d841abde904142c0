"""Procedural 3-D objects, their pictures, and the training of the built-in encoder.

Nothing here is imported when someone looks up a find: it is the workshop in which the shipped
reference pictures and the built-in encoder were made. Read in this order:

``form``     a form: primitives with part names and dimensions in mm, plus relief on its faces
``typed``    forms of the named types; ``endless`` forms of no type at all
``distance`` the signed distance of a batch of forms; ``trace`` finds their surface along rays
``surface``  relief, wear, corrosion, soil, patina and light; ``scene`` background and camera
``render``   all of it in one call: pictures, masks, part labels, surface coordinates
``train``    the contrastive training of the encoder on endless renders
"""
