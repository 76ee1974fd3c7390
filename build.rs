//! How the program is linked.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    // A program that may lie anywhere has a quarter of a million addresses put
    // right before it does anything: half of the time in which `--help` answers.
    // Stack, heap and libraries still lie where chance puts them.
    let target = |what: &str| std::env::var(format!("CARGO_CFG_TARGET_{what}"));
    if target("OS").as_deref() == Ok("linux") && target("ENV").as_deref() == Ok("gnu") {
        println!("cargo:rustc-link-arg-bins=-no-pie");
    }
}
