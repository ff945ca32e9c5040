"""Many teeth: cohorts of real ones, studies of virtual ones, classes of students.

    jobs = cohort.gather(Path("teeth"), Setting())              # a folder or table of case files, surfaces and scans
    ran = cohort.run(jobs, Path("out"), Local(workers=2), about={})    # or "tcp://10.0.0.5:8786": any Dask scheduler
    plan = cohort.load_study(Path("study.toml"))                # virtual teeth by protocol, and questions to them
    found = cohort.study(plan, Path("out"), Local())            # answers with intervals, report, data

A `Job` is one tooth as plain data with a key; a worker runs its chain (`chain` for real teeth, `trial_chain` for virtual ones) into an
`Outcome`; `Store` keeps each on the disk, `table` makes one Parquet table of all. `fleet` knows about workers and schedulers,
nothing else does. `virtual` draws teeth, `study` and `answers` ask them, `classes` deals with students.
"""
