"""One command for a works' PC: the pages, the run history's server, and the schedules, supervised."""
