"""The checks, one module each. `check.all_checks` finds them: a new module here is a new check."""
