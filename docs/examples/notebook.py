"""A loom looked at, proved, mended and proved again, cell by cell.

Cells begin with ``# %%``, as notebook editors read them; the last value of a cell is what a notebook shows.
"""

# %% The loom, as it is described
import loomproof as lp

loom = lp.load("fixtures/tail_lamp")
loom

# %% What two cavities of a sound one read, and how the limit comes about
lp.explain(loom, "BODY:3", "LAMP:3")

# %% What a proof will ask of this bench; nothing is driven
bench = lp.simulate(loom, "high 4.7 W3", seed=1)
lp.plan(loom, bench)

# %% The proof
with bench:
    before = lp.Job(loom, bench, person="I. Torvald").prove().run()
before

# %% Its readings, as a table
readings = lp.frames.readings(before)
readings[readings.kind == "resistance"].sort_values("resistance_ohm", ascending=False).head()

# %% Mended and proved again, both sealed
store = lp.Store()
with lp.simulate(loom, seed=1) as bench:
    after = lp.Job(loom, bench, person="I. Torvald").prove().run()
sealed = [store.seal(proof) for proof in (before, after)]
sealed[-1].write_certificate("out/")

# %% Which joints moved from the one to the other
history = lp.frames.history(store, loom)
history[history.moved]

# %% Which ends go where in the car
lp.fit(loom, proof=after)
