//! Facts of the build, for `--version` and for telling whether results were made by the same program.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;
use std::process::Command;

fn main() {
    println!("cargo::rerun-if-changed=src");
    println!("cargo::rerun-if-changed=Cargo.lock");
    let mut files = BTreeMap::new();
    read(Path::new("src"), &mut files);
    for name in ["Cargo.toml", "Cargo.lock", "build.rs"] {
        files.insert(name.to_owned(), std::fs::read(name).unwrap_or_default());
    }
    let mut hash = DefaultHasher::new();
    files.hash(&mut hash);
    let rustc = std::env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned());
    let compiler = Command::new(rustc).arg("--version").output();
    let compiler = compiler.map(|o| String::from_utf8_lossy(&o.stdout).trim().to_owned());
    let compiler = compiler.unwrap_or_else(|_| "an unknown compiler".to_owned());
    compiler.hash(&mut hash);
    println!("cargo::rustc-env=FANMILL_SOURCES={:016x}", hash.finish());
    println!("cargo::rustc-env=FANMILL_COMPILER={compiler}");
    let target = std::env::var("TARGET").unwrap_or_default();
    println!("cargo::rustc-env=FANMILL_TARGET={target}");
    let profile = std::env::var("PROFILE").unwrap_or_default();
    println!("cargo::rustc-env=FANMILL_PROFILE={profile}");
}

fn read(folder: &Path, into: &mut BTreeMap<String, Vec<u8>>) {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return;
    };
    for path in entries.flatten().map(|e| e.path()) {
        if path.is_dir() {
            read(&path, into);
        } else if let Ok(bytes) = std::fs::read(&path) {
            into.insert(path.to_string_lossy().replace('\\', "/"), bytes);
        }
    }
}
