"""Many teeth: cohorts of real ones, studies of virtual ones, classes of students.

    jobs = sources.gather(Path("teeth"))                               # a folder or table of case files, surfaces and scans
    ran = run.run(jobs, Path("out"), fleet.Local(workers=2), about={}) # or "tcp://10.0.0.5:8786": any Dask scheduler
    plan = study.Study.load(Path("study.toml"))                        # virtual teeth by protocol, and questions to them
    found = study.study(plan, Path("out"))                             # answers with intervals, report, data
    classes.assign(class_model.load_class(Path("class.toml")), key, Path("out"))

A `Job` is one tooth as plain data with a key; a worker runs its chain (`chain` for real teeth, `trial_chain` for virtual ones,
`chair_chain` and `check_chain` for what students hand in) into an `Outcome`; `store` keeps each on the disk, `table` makes one Parquet
table of all. `fleet` knows about workers and schedulers, nothing else does. `virtual` draws teeth, `answers` asks them, `study_report` and
`paper` tell it; `ranking` and `class_report` tell a class. Nothing is loaded until one of these modules is imported.
"""
