"""Folders and tables of teeth: the same jobs whatever the format, and what is wrong in one line."""

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from canalwright import casefile
from canalwright.cohort.job import CohortError
from canalwright.cohort.sources import Setting, gather


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("one", "two"):
        casefile.dump(casefile.demo_case(), tmp_path / f"{name}.toml")
    (tmp_path / "tray.toml").write_text("[tray]\nversion = 1\nname = 'no tooth'\n")
    return tmp_path


def test_a_folder_gives_its_case_files_by_name(folder: Path) -> None:
    assert [job.ident for job in gather(folder)] == ["one", "two"]


def test_csv_toml_and_parquet_tables_give_the_same_jobs(folder: Path) -> None:
    (folder / "t.csv").write_text("id,case,canal,activation,rounds\na,one.toml,MB,2,\nb,two.toml,,,3\n")
    (folder / "t.toml").write_text(
        '[[tooth]]\nid = "a"\ncase = "one.toml"\ncanal = "MB"\nactivation = 2\n[[tooth]]\nid = "b"\ncase = "two.toml"\nrounds = 3\n'
    )
    columns = {
        "id": ["a", "b"],
        "case": ["one.toml", "two.toml"],
        "canal": ["MB", None],
        "activation": [2.0, None],
        "rounds": [None, 3],
    }
    pq.write_table(pa.table(columns), folder / "t.parquet")
    keys = [[job.key for job in gather(folder / name)] for name in ("t.csv", "t.toml", "t.parquet")]
    assert keys[0] == keys[1] == keys[2]
    assert keys[0] != [job.key for job in gather(folder / "t.csv", Setting(seed=1))]


def test_every_column_of_the_handbook_is_known(folder: Path) -> None:
    """A row for a scan with a scan after it, all its columns filled in as docs/cohort.md names them."""
    for name in ("before", "after", "mask"):
        (folder / f"{name}.nrrd").write_bytes(name.encode())
    (folder / "t.csv").write_text(
        "id,scan,after,mask,number,file,orifices,termini,names,voxel,end,basis,temperature,activation,hold,last_hold,pause\n"
        'a,before.nrrd,after.nrrd,mask.nrrd,11,40/0.04,"0,0,9; 1,0,9","0,0,0; 1,0,0",one; two,0.1,0.5,micro-CT,200,2,5,10,8\n'
    )
    (job,) = gather(folder / "t.csv")
    assert job.content["basis"] == "micro-CT" and job.content["names"] == ["one", "two"]
    assert job.content["orifices"] == [[0.0, 0.0, 9.0], [1.0, 0.0, 9.0]]
    assert set(job.content["hashes"]) == {"scan", "after", "mask"}
    assert job.content["choices"]["last_hold"] == 10.0


def test_a_table_named_cohort_in_a_folder_is_read(folder: Path) -> None:
    (folder / "cohort.csv").write_text("id,case\nonly,two.toml\n")
    assert [job.ident for job in gather(folder)] == ["only"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("id,case\n", "no tooth in it"),
        ("id,case,colour\na,one.toml,red\n", "row 1: unknown column 'colour'"),
        ("id,case\n,one.toml\n", "row 1: no id"),
        ("id,case\na,none.toml\n", "there is no case file"),
        ("id,canal\na,MB\n", "names neither a case file"),
        ("id,scan,number,file\na,one.toml,46,30/0.04\n", "a scan needs click, mask"),
        ("id,scan,number,file,click\na,one.toml,46,30/0.04,1;2\n", "three numbers in mm"),
        ("id,case,after\na,one.toml,two.toml\n", "needs the scan before it"),
        ("id,case,rounds\na,one.toml,many\n", "row 1: invalid literal"),
        ("id,case,basis\na,one.toml,film\n", "allowed cone-beam scan or micro-CT"),
    ],
)
def test_what_is_wrong_in_a_table_is_told_with_its_row(folder: Path, text: str, says: str) -> None:
    (folder / "t.csv").write_text(text)
    with pytest.raises(CohortError, match=says) as told:
        gather(folder / "t.csv")
    assert "\n" not in str(told.value)


def test_an_empty_folder_and_another_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CohortError, match="no case file"):
        gather(tmp_path)
    (tmp_path / "x.txt").write_text("")
    with pytest.raises(CohortError, match="no folder and no table"):
        gather(tmp_path / "x.txt")
