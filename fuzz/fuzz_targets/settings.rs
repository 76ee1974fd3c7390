//! `litrewise.toml`, and the same text as an option's key and value.
#![no_main]

use std::cell::OnceCell;
use std::path::PathBuf;

use libfuzzer_sys::fuzz_target;
use litrewise_fuzz::settings::{FILE_NAME, Overrides, load};

thread_local! {
    static FOLDER: OnceCell<PathBuf> = const { OnceCell::new() };
}

fuzz_target!(|bytes: &[u8]| {
    let folder = FOLDER.with(|folder| folder.get_or_init(make).clone());
    std::fs::write(folder.join(FILE_NAME), bytes).expect("a written file");
    let _ = load(&folder, &Overrides::default());
    if let Some((key, value)) = std::str::from_utf8(bytes)
        .ok()
        .and_then(|t| t.split_once('='))
    {
        let stated = Overrides {
            flags: vec![(key.trim().to_owned(), value.to_owned())],
            ..Overrides::default()
        };
        if let Ok(settings) = load(&folder.join("none"), &stated) {
            assert!(settings.limits.salt_passage > 0.0 && settings.limits.product_ppm.is_finite());
        }
    }
});

/// In memory, where there is a file system for it.
fn make() -> PathBuf {
    let memory = PathBuf::from("/dev/shm");
    let root = if memory.is_dir() {
        memory
    } else {
        std::env::temp_dir()
    };
    let folder = root.join(format!("litrewise-fuzz-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    folder
}
