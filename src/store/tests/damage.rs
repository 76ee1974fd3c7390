use super::*;

fn files_below(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files_below(&path, found);
        } else if !path.ends_with(LOCK_FILE) && !path.ends_with(MARKER) {
            found.push(path);
        }
    }
    found.sort();
}

fn two() -> Vec<Record> {
    (0..40).map(|i| reading("QV-1", i * 50, 8.0)).collect()
}

fn three() -> Vec<Record> {
    (20..50).map(|i| reading("QV-1", i * 50, 8.0)).collect()
}

fn sample(store: &Store) {
    add(
        store,
        file_with("all.csv", every_kind(), vec![(Some(90), "x,y")]),
    );
    add(store, file("readings.csv", two()));
    add(store, file_with("more.csv", three(), vec![(Some(90), "z")]));
    let mut writer = store.writer().unwrap();
    writer.act(2, Action::TakenBack, Instant(T0), "").unwrap();
    writer.act(2, Action::PutBack, Instant(T0), "").unwrap();
}

/// Everything a reader sees, and what was named as damaged.
fn look(path: &Path) -> (Vec<Record>, Vec<SetAside>, Vec<Damage>) {
    let store = Store::open(path).unwrap();
    let snapshot = store.snapshot().unwrap();
    let fleet = snapshot.fleet().unwrap();
    let rows = fleet.rows;
    assert_eq!(
        rows.read,
        rows.stored + rows.already_stored + rows.set_aside
    );
    let set_aside = snapshot.set_aside().unwrap().into_iter();
    let set_aside = set_aside.map(|(_, row)| row).collect();
    (records(&fleet), set_aside, store.damage_seen().list())
}

fn spoil(path: &Path, spoilt: &[u8], whole: &[u8], look_at_it: impl FnOnce()) {
    std::fs::write(path, spoilt).unwrap();
    look_at_it();
    std::fs::write(path, whole).unwrap();
}

/// Wherever a file of the store is cut or a bit of it flips: it is named, or
/// what is read is what was stored.
#[test]
fn damage_anywhere_is_named_and_the_rest_is_read() {
    spoil_everywhere(1);
}

/// The same at many more places.
#[test]
#[ignore = "takes minutes"]
fn damage_at_thousands_of_places_is_named() {
    spoil_everywhere(40);
}

fn spoil_everywhere(rounds: usize) {
    let (_dir, store) = store();
    sample(&store);
    let path = store.path().to_owned();
    let (all, all_aside, none) = look(&path);
    assert_eq!(none, []);
    let ever: Vec<Record> = every_kind()
        .into_iter()
        .chain(two())
        .chain(three())
        .collect();
    let mut files = Vec::new();
    files_below(&path, &mut files);
    let (mut named, mut harmless) = (0, 0);
    for (n, file) in files.iter().enumerate() {
        let whole = std::fs::read(file).unwrap();
        let is_parquet = file.extension().is_some_and(|e| e == "parquet");
        let mut spoilt: Vec<Vec<u8>> = Vec::new();
        for i in 0..rounds {
            let at = (n * 7919 + i * 104_729) % whole.len();
            spoilt.push(whole[..at].to_vec());
            for more in [0, 31] {
                let mut flipped = whole.clone();
                flipped[(at + more) % whole.len()] ^= 1 << (i * 3 % 8);
                spoilt.push(flipped);
            }
        }
        for bytes in &spoilt {
            spoil(file, bytes, &whole, || {
                let (seen, aside, damage) = look(&path);
                if is_parquet {
                    assert!(
                        damage.iter().any(|d| d.path == *file),
                        "{file:?}: {damage:?}"
                    );
                } else if damage.is_empty() {
                    assert_eq!((&seen, &aside), (&all, &all_aside), "{file:?}");
                }
                match damage.is_empty() {
                    true => harmless += 1,
                    false => named += 1,
                }
                // Nothing is made up.
                assert!(seen.iter().all(|record| ever.contains(record)), "{file:?}");
            });
        }
    }
    println!(
        "{named} named, {harmless} without effect, in {} files",
        files.len()
    );
    assert!(named > harmless);
    assert_eq!(look(&path), (all, all_aside, vec![]));
}

#[test]
fn a_log_that_cannot_be_read_costs_no_row() {
    let (_dir, store) = store();
    sample(&store);
    let path = store.path().to_owned();
    let (all, all_aside, _) = look(&path);
    let log = path.join("readings/_delta_log/00000000000000000002.json");
    let whole = std::fs::read(&log).unwrap();
    spoil(&log, b"{", &whole, || {
        let (seen, aside, damage) = look(&path);
        assert_eq!((seen, aside), (all, all_aside));
        assert_eq!(damage.len(), 1);
        assert_eq!(damage[0].path, log);
        let refused = Store::open(&path)
            .unwrap()
            .writer()
            .map(|_| ())
            .unwrap_err();
        assert!(refused.to_string().contains("litrewise check"), "{refused}");
    });
    // A checkpoint is only a summary.
    drop(store);
}

#[test]
fn a_damaged_file_comes_back_with_its_source() {
    let (_dir, store) = store();
    sample(&store);
    let path = store.path().to_owned();
    drop(store);
    let (all, all_aside, _) = look(&path);
    for table in ["readings", "set_aside", "files", "repeats", "services"] {
        let mut files = Vec::new();
        files_below(&path.join(table), &mut files);
        let spoilt = files
            .iter()
            .rfind(|f| f.extension().is_some_and(|e| e == "parquet"));
        std::fs::write(spoilt.unwrap(), b"PAR1 nothing PAR1").unwrap();
        let store = Store::open(&path).unwrap();
        let checked = store.check().unwrap();
        assert_eq!(checked.damage.len(), 1, "{table}: {checked:?}");
        assert_eq!(checked.sources.len(), 1, "{table}");
        let id = checked.sources[0].0.id;
        let again = match id {
            1 => file_with("all.csv", every_kind(), vec![(Some(90), "x,y")]),
            2 => file("readings.csv", two()),
            _ => file_with("more.csv", three(), vec![(Some(90), "z")]),
        };
        let mut writer = store.writer().unwrap();
        writer.add(again, Instant(T0)).unwrap();
        assert_eq!(writer.leave_out_damaged().unwrap(), 1, "{table}");
        drop(writer);
        let (seen, mut aside, damage) = look(&path);
        assert_eq!(damage, [], "{table}");
        assert_eq!(seen, all, "{table}");
        // A file whose name was lost does not take its place on the list.
        aside.dedup_by(|a, b| a.text == b.text);
        let texts = |rows: &[SetAside]| {
            let mut texts: Vec<_> = rows.iter().map(|r| r.text.clone()).collect();
            texts.sort();
            texts.dedup();
            texts
        };
        assert_eq!(texts(&aside), texts(&all_aside), "{table}");
        assert!(
            Store::open(&path)
                .unwrap()
                .check()
                .unwrap()
                .damage
                .is_empty()
        );
    }
}

#[test]
fn many_commits_are_summed_up_and_a_spoilt_sum_changes_nothing_unnamed() {
    let (_dir, store) = store();
    let mut writer = store.writer().unwrap();
    for i in 0..102 {
        let rows = vec![reading("QV-1", i, 5.0)];
        writer
            .add(file(&format!("{i}.csv"), rows), Instant(T0))
            .unwrap();
    }
    drop(writer);
    let path = store.path().to_owned();
    let (all, ..) = look(&path);
    assert_eq!(all.len(), 102);
    assert_eq!(store.row_counts().unwrap(), counts(102, 102, 0, 0));
    let log = path.join("readings/_delta_log");
    let mut files = Vec::new();
    files_below(&log, &mut files);
    let checkpoint = files
        .iter()
        .find(|f| f.to_string_lossy().contains(".checkpoint.parquet"));
    let checkpoint = checkpoint.unwrap();
    let whole = std::fs::read(checkpoint).unwrap();
    for i in 0..12 {
        let mut bytes = whole.clone();
        let at = i * 7919 % whole.len();
        bytes[at] ^= 0x55;
        if i % 4 == 3 {
            bytes.truncate(at);
        }
        spoil(checkpoint, &bytes, &whole, || {
            let (seen, _, damage) = look(&path);
            assert!(seen == all || !damage.is_empty(), "{i}");
            assert_eq!(seen.len(), all.len(), "{i}: {damage:?}");
        });
    }
}
