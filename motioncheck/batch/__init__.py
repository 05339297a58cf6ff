"""Many clips in one go: found, checked on all cores or machines, resumed, shown as one group."""
