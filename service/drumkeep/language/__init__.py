"""What the interface says, in more than one language.

English is written where it is said: in templates, in the rules, in scripts. The catalogue of each
other language (``es.po``) holds all of it in one place, by what it is in English.
``python -m drumkeep.language`` brings the catalogues up to date with the sources.
"""
