/* The bare minimum that an echo costs: send and receive loop, checksum, kernel receive stamp.
 * Usage: echo_loop ADDRESS PROBES_PER_SECOND COUNT PROBES_PER_WAKE_UP
 * Prints: CPU microseconds a probe, median round-trip microseconds, number lost. */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <netinet/ip_icmp.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>

enum { DATA = 56, IDENTIFIER = 0x5a5a };

static int64_t now(clockid_t clock) {
  struct timespec t;
  clock_gettime(clock, &t);
  return t.tv_sec * 1000000000LL + t.tv_nsec;
}

static uint16_t checksum(const uint8_t *data, int length) {
  uint32_t sum = 0;
  for (int i = 0; i + 1 < length; i += 2) sum += data[i] << 8 | data[i + 1];
  while (sum >> 16) sum = (sum & 0xffff) + (sum >> 16);
  return htons(~sum);
}

static int by_size(const void *a, const void *b) {
  int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
  return (x > y) - (x < y);
}

int main(int argc, char **argv) {
  if (argc != 5) return 2;
  struct sockaddr_in to = {.sin_family = AF_INET};
  inet_pton(AF_INET, argv[1], &to.sin_addr);
  long rate = atol(argv[2]), count = atol(argv[3]), batch = atol(argv[4]), got = 0;
  int s = socket(AF_INET, SOCK_RAW | SOCK_NONBLOCK, IPPROTO_ICMP), on = 1, room = 4 << 20;
  if (s < 0) return perror("socket"), 3;
  uint32_t filter = ~(1u << ICMP_ECHOREPLY);
  setsockopt(s, SOL_RAW, 1 /* ICMP_FILTER */, &filter, sizeof filter);
  setsockopt(s, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
  setsockopt(s, SOL_SOCKET, SO_RCVBUFFORCE, &room, sizeof room);
  int64_t *rtt = malloc(count * sizeof *rtt), start = now(CLOCK_MONOTONIC);
  struct rusage before, after;
  getrusage(RUSAGE_SELF, &before);
  for (long sent = 0; sent < count;) {
    int64_t due = start + sent * 1000000000LL / rate;
    struct timespec t = {due / 1000000000LL, due % 1000000000LL};
    clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, NULL);
    for (int i = 0; i < batch && sent < count; i++, sent++) {
      uint8_t packet[8 + DATA] = {ICMP_ECHO};
      struct icmphdr *head = (struct icmphdr *)packet;
      head->un.echo.id = htons(IDENTIFIER);
      head->un.echo.sequence = htons(sent);
      int64_t at = now(CLOCK_REALTIME);
      memcpy(packet + 8, &at, sizeof at);
      head->checksum = checksum(packet, sizeof packet);
      sendto(s, packet, sizeof packet, 0, (struct sockaddr *)&to, sizeof to);
    }
    for (;;) {
      uint8_t packet[2048], control[64];
      struct iovec data = {packet, sizeof packet};
      struct msghdr m = {.msg_iov = &data, .msg_iovlen = 1, .msg_control = control, .msg_controllen = sizeof control};
      ssize_t length = recvmsg(s, &m, 0);
      if (length < 0) {
        if (sent < count || got >= count) break;
        struct pollfd p = {s, POLLIN, 0}; /* the last ones may still be on their way */
        if (poll(&p, 1, 1000) <= 0) break;
        continue;
      }
      struct icmphdr *head = (struct icmphdr *)(packet + 20);
      if (head->un.echo.id != htons(IDENTIFIER)) continue;
      struct timespec stamp;
      memcpy(&stamp, CMSG_DATA(CMSG_FIRSTHDR(&m)), sizeof stamp);
      int64_t at;
      memcpy(&at, packet + 28, sizeof at);
      rtt[got++] = stamp.tv_sec * 1000000000LL + stamp.tv_nsec - at;
    }
  }
  getrusage(RUSAGE_SELF, &after);
  double cpu = (after.ru_utime.tv_sec - before.ru_utime.tv_sec + after.ru_stime.tv_sec - before.ru_stime.tv_sec) * 1e6 +
               (after.ru_utime.tv_usec - before.ru_utime.tv_usec + after.ru_stime.tv_usec - before.ru_stime.tv_usec);
  qsort(rtt, got, sizeof *rtt, by_size);
  printf("%.3f %.3f %ld\n", cpu / count, got ? rtt[got / 2] / 1e3 : -1, count - got);
  return 0;
}
