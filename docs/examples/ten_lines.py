"""A proof in ten lines, on a simulated bench with a broken wire: python docs/examples/ten_lines.py."""

import loomproof as lp

loom = lp.load("fixtures/tail_lamp")
with lp.open_bench("sim:?fault=open%20W2", loom=loom) as bench:
    job = lp.Job(loom, bench, adapter=lp.Adapter.in_order(loom), operator=lp.Unattended())
    for event in job.prove():
        print(event)
print(job.proof.verdict, [finding.title for finding in job.proof.findings])
print(lp.Store().seal(job.proof).write_certificate("out/"))
