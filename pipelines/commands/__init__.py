"""The commands, a module a subject. Thin: what was asked is read, the answer is shown.

**Questions run without Prefect**: `trace`, `trust`, `pallet`, `mould`, `holds` are no flows; a cold process answers in
about a second and writes its pages afterwards.
"""
