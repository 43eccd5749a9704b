"""Source text that a measuring process runs: its own peak memory, whatever the process that began it held.

On Linux what `resource` tells of a fresh process begins with the peak of its parent; the kernel's own figure
of the new address space (VmHWM in /proc, see proc(5)) does not.
"""

PEAK_MB = """
def peak_mb():
    import resource, sys
    try:
        with open("/proc/self/status") as lines:
            return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
    except (OSError, StopIteration):
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return most / (1024 * 1024 if sys.platform == "darwin" else 1024)
"""
