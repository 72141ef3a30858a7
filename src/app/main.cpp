#include <cstdio>
#include <cstring>

int main(int argc, char** argv) {
  if (argc == 2 && std::strcmp(argv[1], "--version") == 0) {
    std::puts("rimwright " RIMWRIGHT_VERSION);
    return 0;
  }
  std::fputs("rimwright: say what to do; try rimwright --help.\n", stderr);
  return 2;
}
