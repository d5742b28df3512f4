"""What `python3 -m fieldaid.set_up` is made of: one module for each kind of thing to set up.

Standard library only: these modules run before anything is installed.
"""
